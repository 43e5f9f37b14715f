//go:build amd64 && !purego

#include "textflag.h"
#include "go_asm.h"

// Constants, eight or sixteen lanes each.

DATA e18c<>+0(SB)/8, $0x0001151800011518
DATA e18c<>+8(SB)/8, $0x0001151800011518
DATA e18c<>+16(SB)/8, $0x0001151800011518
DATA e18c<>+24(SB)/8, $0x0001151800011518
GLOBL e18c<>(SB), RODATA|NOPTR, $32
DATA e18u<>+0(SB)/8, $0xFFFC4DF2FFFC4DF2
DATA e18u<>+8(SB)/8, $0xFFFC4DF2FFFC4DF2
DATA e18u<>+16(SB)/8, $0xFFFC4DF2FFFC4DF2
DATA e18u<>+24(SB)/8, $0xFFFC4DF2FFFC4DF2
GLOBL e18u<>(SB), RODATA|NOPTR, $32
DATA e18w<>+0(SB)/8, $0xFFFE7822FFFE7822
DATA e18w<>+8(SB)/8, $0xFFFE7822FFFE7822
DATA e18w<>+16(SB)/8, $0xFFFE7822FFFE7822
DATA e18w<>+24(SB)/8, $0xFFFE7822FFFE7822
GLOBL e18w<>(SB), RODATA|NOPTR, $32
DATA e12c<>+0(SB)/8, $0x0000045400000454
DATA e12c<>+8(SB)/8, $0x0000045400000454
DATA e12c<>+16(SB)/8, $0x0000045400000454
DATA e12c<>+24(SB)/8, $0x0000045400000454
GLOBL e12c<>(SB), RODATA|NOPTR, $32
DATA e12u<>+0(SB)/8, $0xFFFFF138FFFFF138
DATA e12u<>+8(SB)/8, $0xFFFFF138FFFFF138
DATA e12u<>+16(SB)/8, $0xFFFFF138FFFFF138
DATA e12u<>+24(SB)/8, $0xFFFFF138FFFFF138
GLOBL e12u<>(SB), RODATA|NOPTR, $32
DATA e12w<>+0(SB)/8, $0xFFFFF9E0FFFFF9E0
DATA e12w<>+8(SB)/8, $0xFFFFF9E0FFFFF9E0
DATA e12w<>+16(SB)/8, $0xFFFFF9E0FFFFF9E0
DATA e12w<>+24(SB)/8, $0xFFFFF9E0FFFFF9E0
GLOBL e12w<>(SB), RODATA|NOPTR, $32
DATA o3c<>+0(SB)/8, $0x00000D4E00000D4E
DATA o3c<>+8(SB)/8, $0x00000D4E00000D4E
DATA o3c<>+16(SB)/8, $0x00000D4E00000D4E
DATA o3c<>+24(SB)/8, $0x00000D4E00000D4E
GLOBL o3c<>(SB), RODATA|NOPTR, $32
DATA o3u<>+0(SB)/8, $0xFFFFE9CEFFFFE9CE
DATA o3u<>+8(SB)/8, $0xFFFFE9CEFFFFE9CE
DATA o3u<>+16(SB)/8, $0xFFFFE9CEFFFFE9CE
DATA o3u<>+24(SB)/8, $0xFFFFE9CEFFFFE9CE
GLOBL o3u<>(SB), RODATA|NOPTR, $32
DATA o3w<>+0(SB)/8, $0x0000046A0000046A
DATA o3w<>+8(SB)/8, $0x0000046A0000046A
DATA o3w<>+16(SB)/8, $0x0000046A0000046A
DATA o3w<>+24(SB)/8, $0x0000046A0000046A
GLOBL o3w<>(SB), RODATA|NOPTR, $32
DATA o1c<>+0(SB)/8, $0x00000FB100000FB1
DATA o1c<>+8(SB)/8, $0x00000FB100000FB1
DATA o1c<>+16(SB)/8, $0x00000FB100000FB1
DATA o1c<>+24(SB)/8, $0x00000FB100000FB1
GLOBL o1c<>(SB), RODATA|NOPTR, $32
DATA o1u<>+0(SB)/8, $0xFFFFED30FFFFED30
DATA o1u<>+8(SB)/8, $0xFFFFED30FFFFED30
DATA o1u<>+16(SB)/8, $0xFFFFED30FFFFED30
DATA o1u<>+24(SB)/8, $0xFFFFED30FFFFED30
GLOBL o1u<>(SB), RODATA|NOPTR, $32
DATA o1w<>+0(SB)/8, $0x00000C9200000C92
DATA o1w<>+8(SB)/8, $0x00000C9200000C92
DATA o1w<>+16(SB)/8, $0x00000C9200000C92
DATA o1w<>+24(SB)/8, $0x00000C9200000C92
GLOBL o1w<>(SB), RODATA|NOPTR, $32
DATA half8<>+0(SB)/8, $0x000000B5000000B5
DATA half8<>+8(SB)/8, $0x000000B5000000B5
DATA half8<>+16(SB)/8, $0x000000B5000000B5
DATA half8<>+24(SB)/8, $0x000000B5000000B5
GLOBL half8<>(SB), RODATA|NOPTR, $32
DATA half14<>+0(SB)/8, $0x00002D4100002D41
DATA half14<>+8(SB)/8, $0x00002D4100002D41
DATA half14<>+16(SB)/8, $0x00002D4100002D41
DATA half14<>+24(SB)/8, $0x00002D4100002D41
GLOBL half14<>(SB), RODATA|NOPTR, $32
DATA round<>+0(SB)/8, $0x0008000000080000
DATA round<>+8(SB)/8, $0x0008000000080000
DATA round<>+16(SB)/8, $0x0008000000080000
DATA round<>+24(SB)/8, $0x0008000000080000
GLOBL round<>(SB), RODATA|NOPTR, $32
DATA w128<>+0(SB)/8, $0x0080008000800080
DATA w128<>+8(SB)/8, $0x0080008000800080
DATA w128<>+16(SB)/8, $0x0080008000800080
DATA w128<>+24(SB)/8, $0x0080008000800080
GLOBL w128<>(SB), RODATA|NOPTR, $32
DATA rowsOrder<>+0(SB)/8, $0x0000000400000000
DATA rowsOrder<>+8(SB)/8, $0x0000000500000001
DATA rowsOrder<>+16(SB)/8, $0x0000000600000002
DATA rowsOrder<>+24(SB)/8, $0x0000000700000003
GLOBL rowsOrder<>(SB), RODATA|NOPTR, $32

DATA kr<>+0(SB)/8, $0x66E966E966E966E9
DATA kr<>+8(SB)/8, $0x66E966E966E966E9
DATA kr<>+16(SB)/8, $0x66E966E966E966E9
DATA kr<>+24(SB)/8, $0x66E966E966E966E9
GLOBL kr<>(SB), RODATA|NOPTR, $32
DATA kgb<>+0(SB)/8, $0xA7E6A7E6A7E6A7E6
DATA kgb<>+8(SB)/8, $0xA7E6A7E6A7E6A7E6
DATA kgb<>+16(SB)/8, $0xA7E6A7E6A7E6A7E6
DATA kgb<>+24(SB)/8, $0xA7E6A7E6A7E6A7E6
GLOBL kgb<>(SB), RODATA|NOPTR, $32
DATA kgr<>+0(SB)/8, $0x492E492E492E492E
DATA kgr<>+8(SB)/8, $0x492E492E492E492E
DATA kgr<>+16(SB)/8, $0x492E492E492E492E
DATA kgr<>+24(SB)/8, $0x492E492E492E492E
GLOBL kgr<>(SB), RODATA|NOPTR, $32
DATA kb<>+0(SB)/8, $0xC5A2C5A2C5A2C5A2
DATA kb<>+8(SB)/8, $0xC5A2C5A2C5A2C5A2
DATA kb<>+16(SB)/8, $0xC5A2C5A2C5A2C5A2
DATA kb<>+24(SB)/8, $0xC5A2C5A2C5A2C5A2
GLOBL kb<>(SB), RODATA|NOPTR, $32
DATA w1<>+0(SB)/8, $0x0001000100010001
DATA w1<>+8(SB)/8, $0x0001000100010001
DATA w1<>+16(SB)/8, $0x0001000100010001
DATA w1<>+24(SB)/8, $0x0001000100010001
GLOBL w1<>(SB), RODATA|NOPTR, $32
DATA b254<>+0(SB)/8, $0xFEFEFEFEFEFEFEFE
DATA b254<>+8(SB)/8, $0xFEFEFEFEFEFEFEFE
DATA b254<>+16(SB)/8, $0xFEFEFEFEFEFEFEFE
DATA b254<>+24(SB)/8, $0xFEFEFEFEFEFEFEFE
GLOBL b254<>(SB), RODATA|NOPTR, $32

// BUTTERFLY is a, b = a+b, a-b.
#define BUTTERFLY(a, b) \
	VPADDD  b, a, Y8; \
	VPSUBD  b, a, b;  \
	VMOVDQA Y8, a

// BOX rotates a and b: kcos*(a+b) + (ksin-kcos)*b, kcos*(a+b) - (kcos+ksin)*a.
#define BOX(a, b, c, u, w) \
	VPADDD  b, a, Y8;           \
	VPMULLD c<>(SB), Y8, Y8; \
	VPMULLD u<>(SB), b, b;   \
	VPMULLD w<>(SB), a, a;   \
	VPADDD  b, Y8, Y9;          \
	VPSUBD  a, Y8, b;           \
	VMOVDQA Y9, a

// HALFBOX is BOX with b = 0.
#define HALFBOX(a, b, c, w) \
	VPMULLD c<>(SB), a, Y8; \
	VPMULLD w<>(SB), a, a;  \
	VPSUBD  a, Y8, b;       \
	VMOVDQA Y8, a

// COLUMN loads eight coefficients and multiplies them by their divisors.
#define COLUMN(n, to) \
	VPMOVSXWD (16*n)(SI), to; \
	VPMULLD   (32*n)(BX), to, to

// FIRSTCOLUMN does it for the first, the first of which is in AX.
#define FIRSTCOLUMN(x, to) \
	VMOVDQU   (SI), x;        \
	VPINSRW   $0, AX, x, x;   \
	VPMOVSXWD x, to;          \
	VPMULLD   (BX), to, to

// ENDPASS is the end of a pass: what is odd is shifted by n, turned, and put together with what is even.
#define ENDPASS(n) \
	VPSRAD $n, Y4, Y4;         \
	VPSRAD $n, Y5, Y5;         \
	VPSRAD $n, Y6, Y6;         \
	VPSRAD $n, Y7, Y7;         \
	BOX(Y4, Y7, o3c, o3u, o3w); \
	BOX(Y5, Y6, o1c, o1u, o1w); \
	BUTTERFLY(Y0, Y7);         \
	BUTTERFLY(Y1, Y6);         \
	BUTTERFLY(Y2, Y5);         \
	BUTTERFLY(Y3, Y4)

// The registers of both passes: x0 to x7 are Y0 to Y7.

// func samplesVector(r *blockRun) bool
//
// SI the coefficients, R8 the kinds, DI the samples, CX how many blocks there are yet, R9 where their divisors
// stand, R10 what they lack, R11 bits of any first coefficient by which one out of bounds shows; AX the first, BX the divisors.
TEXT ·samplesVector(SB), NOSPLIT, $0-9
	MOVQ r+0(FP), DX
	MOVQ blockRun_coefs(DX), SI
	MOVQ blockRun_kinds(DX), R8
	MOVQ blockRun_samples(DX), DI
	MOVQ blockRun_n(DX), CX
	LEAQ blockRun_quant(DX), R9
	LEAQ blockRun_lacks(DX), R10
	XORL R11, R11

block:
	MOVQ (R9), BX
	MOVWLZX (SI), AX
	ADDW (R10), AX
	MOVWLSX AX, AX
	LEAL const_mostFirst(AX), DX
	ORL DX, R11
	MOVBLZX (R8), DX
	CMPL DX, $const_flat
	JEQ flat
	JHI corner

	// First pass: one lane for each row.
	FIRSTCOLUMN(X0, Y0)
	COLUMN(4, Y1)
	COLUMN(2, Y2)
	COLUMN(6, Y3)
	COLUMN(7, Y4)
	COLUMN(3, Y5)
	COLUMN(5, Y6)
	COLUMN(1, Y7)
	VPSLLD $17, Y0, Y0
	VPSLLD $17, Y1, Y1
	BUTTERFLY(Y0, Y1)
	BOX(Y2, Y3, e18c, e18u, e18w)
	BUTTERFLY(Y1, Y2)
	BUTTERFLY(Y0, Y3)
	VPSLLD $7, Y4, Y4
	VPSLLD $7, Y7, Y7
	BUTTERFLY(Y7, Y4)
	VPMULLD half8<>(SB), Y6, Y6
	VPMULLD half8<>(SB), Y5, Y5
	BUTTERFLY(Y7, Y5)
	BUTTERFLY(Y4, Y6)
	ENDPASS(2)

	// Turn columns into rows.
	VPUNPCKLDQ Y1, Y0, Y8
	VPUNPCKHDQ Y1, Y0, Y9
	VPUNPCKLDQ Y3, Y2, Y10
	VPUNPCKHDQ Y3, Y2, Y11
	VPUNPCKLDQ Y5, Y4, Y12
	VPUNPCKHDQ Y5, Y4, Y13
	VPUNPCKLDQ Y7, Y6, Y14
	VPUNPCKHDQ Y7, Y6, Y15
	VPUNPCKLQDQ Y10, Y8, Y0
	VPUNPCKHQDQ Y10, Y8, Y1
	VPUNPCKLQDQ Y11, Y9, Y2
	VPUNPCKHQDQ Y11, Y9, Y3
	VPUNPCKLQDQ Y14, Y12, Y4
	VPUNPCKHQDQ Y14, Y12, Y5
	VPUNPCKLQDQ Y15, Y13, Y6
	VPUNPCKHQDQ Y15, Y13, Y7
	VPERM2I128 $0x20, Y4, Y0, Y8
	VPERM2I128 $0x20, Y5, Y1, Y9
	VPERM2I128 $0x20, Y6, Y2, Y10
	VPERM2I128 $0x20, Y7, Y3, Y11
	VPERM2I128 $0x31, Y4, Y0, Y12
	VPERM2I128 $0x31, Y5, Y1, Y13
	VPERM2I128 $0x31, Y6, Y2, Y14
	VPERM2I128 $0x31, Y7, Y3, Y15

	// Second pass: rows 0 to 7 are x0, x7, x2, x5, x1, x6, x3, x4.
	VPADDD round<>(SB), Y8, Y0
	VPADDD Y12, Y0, Y8
	VPSUBD Y12, Y0, Y1
	VPSRAD $2, Y8, Y0
	VPSRAD $2, Y1, Y1
	VPSRAD $13, Y10, Y2
	VPSRAD $13, Y14, Y3
	VMOVDQA Y9, Y7
	VMOVDQA Y15, Y4
	VPSRAD $13, Y11, Y5
	VPSRAD $13, Y13, Y6
	BOX(Y2, Y3, e12c, e12u, e12w)
	BUTTERFLY(Y1, Y2)
	BUTTERFLY(Y0, Y3)
	BUTTERFLY(Y7, Y4)
	VPMULLD half14<>(SB), Y5, Y5
	VPMULLD half14<>(SB), Y6, Y6
	BUTTERFLY(Y7, Y5)
	BUTTERFLY(Y4, Y6)

samples:
	ENDPASS(14)
	VPSRAD $18, Y0, Y0
	VPSRAD $18, Y1, Y1
	VPSRAD $18, Y2, Y2
	VPSRAD $18, Y3, Y3
	VPSRAD $18, Y4, Y4
	VPSRAD $18, Y5, Y5
	VPSRAD $18, Y6, Y6
	VPSRAD $18, Y7, Y7

	// Narrowing saturates, which is the clipping.
	VMOVDQU w128<>(SB), Y10
	VMOVDQU rowsOrder<>(SB), Y11
	VPACKSSDW Y1, Y0, Y0
	VPACKSSDW Y3, Y2, Y2
	VPACKSSDW Y5, Y4, Y4
	VPACKSSDW Y7, Y6, Y6
	VPADDSW Y10, Y0, Y0
	VPADDSW Y10, Y2, Y2
	VPADDSW Y10, Y4, Y4
	VPADDSW Y10, Y6, Y6
	VPACKUSWB Y2, Y0, Y0
	VPACKUSWB Y6, Y4, Y4
	VPERMD Y0, Y11, Y0
	VPERMD Y4, Y11, Y4

next:
	VMOVDQU Y0, (DI)
	VMOVDQU Y4, 32(DI)
	ADDQ $128, SI
	ADDQ $64, DI
	ADDQ $8, R9
	ADDQ $2, R10
	INCQ R8
	DECQ CX
	JNZ block
	VZEROUPPER
	CMPL R11, $(2*const_mostFirst)
	SETCS ret+8(FP)
	RET

corner:
	// The same where only the first four of the first four columns are not 0: what 0 adds to is left out.
	FIRSTCOLUMN(X0, Y0)
	COLUMN(2, Y2)
	COLUMN(3, Y5)
	COLUMN(1, Y7)
	VPSLLD $17, Y0, Y0
	VMOVDQA Y0, Y1
	HALFBOX(Y2, Y3, e18c, e18w)
	BUTTERFLY(Y1, Y2)
	BUTTERFLY(Y0, Y3)
	VPSLLD $7, Y7, Y7
	VMOVDQA Y7, Y4
	VMOVDQA Y7, Y6
	VPMULLD half8<>(SB), Y5, Y5
	BUTTERFLY(Y7, Y5)
	ENDPASS(2)
	VINSERTI128 $1, X4, Y0, Y0
	VINSERTI128 $1, X5, Y1, Y1
	VINSERTI128 $1, X6, Y2, Y2
	VINSERTI128 $1, X7, Y3, Y3
	VPUNPCKLDQ Y1, Y0, Y4
	VPUNPCKHDQ Y1, Y0, Y5
	VPUNPCKLDQ Y3, Y2, Y6
	VPUNPCKHDQ Y3, Y2, Y8
	VPUNPCKLQDQ Y6, Y4, Y0
	VPUNPCKHQDQ Y6, Y4, Y7
	VPUNPCKLQDQ Y8, Y5, Y2
	VPUNPCKHQDQ Y8, Y5, Y5
	VPADDD round<>(SB), Y0, Y0
	VPSRAD $2, Y0, Y0
	VMOVDQA Y0, Y1
	VPSRAD $13, Y2, Y2
	HALFBOX(Y2, Y3, e12c, e12w)
	BUTTERFLY(Y1, Y2)
	BUTTERFLY(Y0, Y3)
	VMOVDQA Y7, Y4
	VMOVDQA Y7, Y6
	VPSRAD $13, Y5, Y5
	VPMULLD half14<>(SB), Y5, Y5
	BUTTERFLY(Y7, Y5)
	JMP samples

flat:
	IMULL (BX), AX
	SHLL $17, AX
	ADDL $0x80000, AX
	SARL $20, AX
	VMOVD AX, X0
	VPACKSSDW X0, X0, X0
	VPADDSW w128<>(SB), X0, X0
	VPACKUSWB X0, X0, X0
	VPBROADCASTB X0, Y0
	VMOVDQA Y0, Y4
	JMP next

// NARROW stores two rows of eight words.
#define NARROW(plane, v) \
	VMOVDQU v, (256*plane)(DI)

// WIDE stores two rows with each word twice.
#define WIDE(plane, v) \
	VPUNPCKLWD   v, v, Y14;                \
	VPUNPCKHWD   v, v, Y15;                \
	VMOVDQU      X14, (256*plane)(DI);     \
	VMOVDQU      X15, (256*plane+16)(DI);  \
	VEXTRACTI128 $1, Y14, (256*plane+32)(DI); \
	VEXTRACTI128 $1, Y15, (256*plane+48)(DI)

// func termsVector(cb, cr *[64]uint8, out *terms, wide int)
TEXT ·termsVector(SB), NOSPLIT, $0-32
	MOVQ cb+0(FP), AX
	MOVQ cr+8(FP), BX
	MOVQ out+16(FP), DI
	MOVQ wide+24(FP), DX
	VMOVDQU w128<>(SB), Y13
	VMOVDQU w1<>(SB), Y12
	MOVQ $4, CX

pair:
	VPMOVZXBW (AX), Y0
	VPMOVZXBW (BX), Y1
	VPSUBW Y13, Y0, Y0
	VPSUBW Y13, Y1, Y1

	// Upper halves of products, and 1 where the lower half is a half or more. Red: Y3.
	VPMULLW kr<>(SB), Y1, Y2
	VPMULHW kr<>(SB), Y1, Y3
	VPADDW Y1, Y3, Y3
	VPSRLW $15, Y2, Y2
	VPADDW Y2, Y3, Y3

	// Green: Y5. The lower halves may carry.
	VPMULLW kgb<>(SB), Y0, Y6
	VPMULLW kgr<>(SB), Y1, Y7
	VPADDW Y7, Y6, Y4
	VPADDUSW Y7, Y6, Y8
	VPCMPEQW Y8, Y4, Y8
	VPMULHW kgb<>(SB), Y0, Y6
	VPMULHW kgr<>(SB), Y1, Y7
	VPADDW Y7, Y6, Y5
	VPSUBW Y1, Y5, Y5
	VPADDW Y8, Y5, Y5
	VPADDW Y12, Y5, Y5
	VPSRLW $15, Y4, Y4
	VPADDW Y4, Y5, Y5

	// Blue: Y7.
	VPMULLW kb<>(SB), Y0, Y6
	VPMULHW kb<>(SB), Y0, Y7
	VPADDW Y0, Y7, Y7
	VPADDW Y0, Y7, Y7
	VPSRLW $15, Y6, Y6
	VPADDW Y6, Y7, Y7

	ADDQ $16, AX
	ADDQ $16, BX
	TESTQ DX, DX
	JNZ twice
	NARROW(0, Y3)
	NARROW(1, Y5)
	NARROW(2, Y7)
	ADDQ $32, DI
	DECQ CX
	JNZ pair
	VZEROUPPER
	RET

twice:
	WIDE(0, Y3)
	WIDE(1, Y5)
	WIDE(2, Y7)
	ADDQ $64, DI
	DECQ CX
	JNZ pair
	VZEROUPPER
	RET

// CHANNEL takes 32 pixels of a channel: words of luma in Y0 and Y1, terms at SI and R9 (the pair of rows behind). n is the
// channel, add its sums, square its squares. Y7 gets the mask of clipped samples.
#define CHANNEL(n, add, square) \
	VMOVDQU     (256*n)(SI), X4;                       \
	VINSERTI128 $1, (256*n)(SI)(R8*1), Y4, Y4;         \
	VMOVDQU     (256*n)(R9), X5;                       \
	VINSERTI128 $1, (256*n)(R9)(R8*1), Y5, Y5;         \
	VPADDW      Y0, Y4, Y4;                            \
	VPADDW      Y1, Y5, Y5;                            \
	VPACKUSWB   Y5, Y4, Y4;                            \
	VPSADBW     Y15, Y4, Y5;                           \
	VPADDD      Y5, add, add;                          \
	VPUNPCKLBW  Y15, Y4, Y5;                           \
	VPUNPCKHBW  Y15, Y4, Y6;                           \
	VPMADDWD    Y5, Y5, Y5;                            \
	VPMADDWD    Y6, Y6, Y6;                            \
	VPADDD      Y5, square, square;                    \
	VPADDD      Y6, square, square;                    \
	VPMINUB     (192+32*n)(DI), Y4, Y5;                \
	VPMAXUB     (288+32*n)(DI), Y4, Y6;                \
	VMOVDQU     Y5, (192+32*n)(DI);                    \
	VMOVDQU     Y6, (288+32*n)(DI);                    \
	VPMAXUB     Y14, Y4, Y5;                           \
	VPCMPEQB    Y4, Y5, Y7;                            \
	VMOVDQU     (384+32*n)(DI), Y6;                    \
	VPSUBB      Y7, Y6, Y6;                            \
	VMOVDQU     Y6, (384+32*n)(DI)

// REDUCE adds the four quadwords, of which only the lower halves count, into a doubleword.
#define REDUCE(v, x, to) \
	VEXTRACTI128 $1, v, X4; \
	VPADDD       X4, x, X4; \
	VPSHUFD      $0xEE, X4, X5; \
	VPADDD       X5, X4, X4; \
	VMOVD        X4, to

// ALL adds eight doublewords.
#define ALL(v, x, to) \
	VEXTRACTI128 $1, v, X4; \
	VPADDD       X4, x, X4; \
	VPSHUFD      $0xEE, X4, X5; \
	VPADDD       X5, X4, X4; \
	VPSHUFD      $0x55, X4, X5; \
	VPADDD       X5, X4, X4; \
	VMOVD        X4, to

// LEAST finds the least of 32 bytes; flip is all ones to find the greatest.
#define LEAST(from, flip, flipX, to) \
	VPXOR        from, flip, Y4; \
	VEXTRACTI128 $1, Y4, X5; \
	VPMINUB      X5, X4, X4; \
	VPSRLW       $8, X4, X5; \
	VPMINUB      X5, X4, X4; \
	VPHMINPOSUW  X4, X4; \
	VPXOR        X4, flipX, X4; \
	VPEXTRB      $0, X4, to

// func pixelsVector(r *pixelRun)
TEXT ·pixelsVector(SB), NOSPLIT, $0-8
	MOVQ r+0(FP), DI
	MOVQ 0(DI), AX
	MOVQ 8(DI), CX
	LEAQ 16(DI), DX
	MOVQ 48(DI), R10
	MOVQ 56(DI), R8
	LEAQ 64(DI), R11
	VPXOR Y15, Y15, Y15
	VMOVDQU b254<>(SB), Y14
	VPCMPEQB Y4, Y4, Y4
	VMOVDQU Y4, 192(DI)
	VMOVDQU Y4, 224(DI)
	VMOVDQU Y4, 256(DI)
	VMOVDQU Y15, 288(DI)
	VMOVDQU Y15, 320(DI)
	VMOVDQU Y15, 352(DI)
	VMOVDQU Y15, 384(DI)
	VMOVDQU Y15, 416(DI)
	VMOVDQU Y15, 448(DI)
	VMOVDQU Y15, 480(DI)
	VPXOR Y8, Y8, Y8
	VPXOR Y9, Y9, Y9
	VPXOR Y10, Y10, Y10

block:
	MOVQ (DX), SI
	VPXOR Y11, Y11, Y11
	VPXOR Y12, Y12, Y12
	VPXOR Y13, Y13, Y13
	MOVQ $2, R12

half:
	LEAQ (SI)(R10*1), R9
	VPMOVZXBW (AX), Y0
	VPMOVZXBW 16(AX), Y1
	CHANNEL(0, Y11, Y8)
	VMOVDQU Y7, 512(DI)
	CHANNEL(1, Y12, Y9)
	VPOR 512(DI), Y7, Y7
	VMOVDQU Y7, 512(DI)
	CHANNEL(2, Y13, Y10)
	VPOR 512(DI), Y7, Y7
	VMOVDQU 480(DI), Y6
	VPSUBB Y7, Y6, Y6
	VMOVDQU Y6, 480(DI)
	LEAQ (R9)(R10*1), SI
	ADDQ $32, AX
	DECQ R12
	JNZ half

	REDUCE(Y11, X11, 0(R11))
	REDUCE(Y12, X12, 4(R11))
	REDUCE(Y13, X13, 8(R11))
	ADDQ $16, R11
	ADDQ $8, DX
	DECQ CX
	JNZ block

	ALL(Y8, X8, 128(DI))
	ALL(Y9, X9, 132(DI))
	ALL(Y10, X10, 136(DI))
	VPSADBW 384(DI), Y15, Y8
	VPSADBW 416(DI), Y15, Y9
	VPSADBW 448(DI), Y15, Y10
	VPSADBW 480(DI), Y15, Y11
	REDUCE(Y8, X8, 144(DI))
	REDUCE(Y9, X9, 148(DI))
	REDUCE(Y10, X10, 152(DI))
	REDUCE(Y11, X11, 156(DI))
	VPCMPEQB Y14, Y14, Y14
	LEAST(192(DI), Y15, X15, 160(DI))
	LEAST(224(DI), Y15, X15, 161(DI))
	LEAST(256(DI), Y15, X15, 162(DI))
	LEAST(288(DI), Y14, X14, 168(DI))
	LEAST(320(DI), Y14, X14, 169(DI))
	LEAST(352(DI), Y14, X14, 170(DI))
	VZEROUPPER
	RET
