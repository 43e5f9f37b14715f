//go:build amd64 && !purego

#include "textflag.h"
#include "go_asm.h"

// REFILL makes the register of bits hold 56 to 63: of the next 8 bytes as many as
// there is room for.
#define REFILL \
	MOVQ   (SI), R12;      \
	BSWAPQ R12;            \
	SHRXQ  BX, R12, R12;   \
	ORQ    R12, AX;        \
	MOVQ   $63, R12;       \
	SUBQ   BX, R12;        \
	SHRQ   $3, R12;        \
	ADDQ   R12, SI;        \
	ORQ    $56, BX

// LOOKUP decodes one or two symbols by the table, stores both values and moves on. R13
// is the place. What is stored follows from stream.block.
#define LOOKUP \
	MOVQ    AX, R11;              \
	SHRQ    $(64-const_acBits), R11; \
	MOVQ    (R8)(R11*8), DX;      \
	RORXQ   $16, DX, R11;         \
	MOVBLZX R11, R11;             \
	ADDL    R13, R11;             \
	MOVBLZX 1(R9)(R11*1), R11;    \
	RORXQ   $48, DX, R12;         \
	MOVW    R12, (DI)(R11*2);     \
	RORXQ   $24, DX, R12;         \
	RORXQ   $32, DX, R14;         \
	SHLXQ   R12, AX, R11;         \
	SHLXQ   DX, AX, AX;           \
	MOVQ    R11, R12;             \
	NOTQ    R12;                  \
	SARQ    $63, R12;             \
	XORQ    R12, R11;             \
	SHRQ    $1, R11;              \
	SHRXQ   R14, R11, R11;        \
	XORL    R12, R11;             \
	SUBL    R12, R11;             \
	MOVWLZX DX, R12;              \
	ADDL    R12, R10;             \
	MOVL    R10, R13;             \
	SHRL    $8, R13;              \
	MOVBLZX (R9)(R13*1), R14;     \
	MOVW    R11, (DI)(R14*2);     \
	TESTL   $0xC000, R10;         \
	JNZ     end

// func blocksVector(s *stream, plan *planned, n int, out *int16, kinds *kind, place uint) (done int, at uint, e uint64)
//
// AX the next bits, from the top; BX how many count; SI the next byte; DI the block;
// R8 the table of runs and values, looked up by the upper acBits; R9 places; R10 bits used since the last refill and the place
// times 256; R15 the planned block; CX the block's number; DX the last entry; R11 to R14 come and go.
TEXT ·blocksVector(SB), NOSPLIT, $0-72
	MOVQ s+0(FP), R14
	MOVQ stream_acc(R14), AX
	MOVQ stream_bits(R14), BX
	MOVQ stream_pos(R14), SI
	LEAQ stream_buf(R14)(SI*1), SI
	MOVQ plan+8(FP), R15
	MOVQ out+24(FP), DI
	LEAQ ·places(SB), R9
	XORL CX, CX
	MOVQ planned_ac(R15), R8
	MOVQ place+40(FP), R10
	TESTQ R10, R10
	JZ   first
	SHLQ $8, R10
	MOVL R10, R13
	SHRL $8, R13
	JMP  symbols

first:
	REFILL
	MOVQ planned_dc(R15), R11
	MOVQ AX, R12
	SHRQ $(64-const_dcBits), R12
	MOVL (R11)(R12*4), R10
	XORL DX, DX
	TESTL R10, R10
	JZ   out
	RORXQ $8, R10, R12
	RORXQ $16, R10, R14
	SHLXQ R12, AX, R11
	SHLXQ R10, AX, AX
	MOVQ  R11, R12
	NOTQ  R12
	SARQ  $63, R12
	XORQ  R12, R11
	SHRQ  $1, R11
	SHRXQ R14, R11, R11
	XORL  R12, R11
	SUBL  R12, R11
	MOVQ  planned_comp(R15), R12
	MOVQ  s+0(FP), R14
	ADDL  stream_sum(R14)(R12*4), R11
	MOVL  R11, stream_sum(R14)(R12*4)
	MOVW  R11, (DI)
	MOVBLZX R10, R10
	ADDL  $256, R10
	MOVL  $1, R13
	LOOKUP
	LOOKUP

symbols:
	MOVBLZX R10, R12
	SUBQ R12, BX
	ANDL $0xFF00, R10
	REFILL
	LOOKUP
	LOOKUP
	LOOKUP
	JMP symbols

end:
	// The place is 64, or in front of the end of the block up to 63: that block is done.
	CMPL R13, $64
	JEQ done
	LEAL -(1+const_endOfBlock)(R13), R11
	CMPL R11, $63
	JAE odd

done:
	// The kind, as kindOf has it.
	XORL R12, R12
	LEAL -(1+const_endOfBlock)(R13), R11
	CMPL R11, $(const_cornerEnd-1)
	SETLS R12
	ADDL R12, R12
	CMPL R11, $1
	SBBL $0, R12
	MOVQ kinds+32(FP), R14
	MOVB R12, (R14)(CX*1)
	MOVBLZX R10, R12
	SUBQ R12, BX
	ADDQ $128, DI
	ADDQ $planned__size, R15
	INCQ CX
	XORL R10, R10
	CMPQ CX, n+16(FP)
	JEQ out
	MOVQ planned_ac(R15), R8
	JMP first

odd:
	// Back to in front of the entry.
	MOVWLZX DX, R12
	SUBL R12, R10
	CMPB DX, $0
	JNE again
	MOVQ DX, R11
	SHRQ $48, R11
	JNZ  known

	// A long code: at least 16 bits are left to look it up by.
	MOVQ AX, R12
	SHRQ $48, R12
	SUBL acTable_from(R8), R12
	CMPL R12, $const_longCodes
	JCC  out
	MOVWLZX acTable_long(R8)(R12*2), R11
	TESTL R11, R11
	JZ   out
	MOVBLZX R11, DX
	SHLQ $32, DX
	SHRL $8, R11

known:
	// The code is known: R11 bits. Its symbol is in DX from bit 32 on. The value is still in the stream.
	MOVBLZX R10, R12
	SUBQ R12, BX
	ANDL $0xFF00, R10
	REFILL
	MOVL R10, R13
	SHRL $8, R13
	RORXQ $32, DX, R12
	MOVBLZX R12, R12
	MOVL R12, R14
	SHRL $4, R14
	ADDL R14, R13
	CMPL R13, $63
	JA out
	ANDL $15, R12
	SHLXQ R11, AX, AX
	SUBQ R11, BX
	SUBQ R12, BX
	// Extend: a first bit of 0 means a negative value.
	MOVQ AX, R14
	NOTQ R14
	SARQ $63, R14
	MOVQ $1, R11
	SHLXQ R12, R11, R11
	DECQ R11
	ANDQ R14, R11
	MOVL $64, R14
	SUBL R12, R14
	SHRXQ R14, AX, R14
	SUBQ R11, R14
	SHLXQ R12, AX, AX
	MOVBLZX 1(R9)(R13*1), R11
	MOVW R14, (DI)(R11*2)
	INCL R13
	MOVL R13, R10
	SHLL $8, R10
	CMPL R13, $64
	JEQ done
	JMP symbols

again:
	// The bits that the entry took are gone: read them again.
	MOVBLZX R10, R12
	SUBQ R12, BX
	ANDL $0xFF00, R10
	MOVQ s+0(FP), R14
	LEAQ stream_buf(R14), R11
	SUBQ R11, SI
	SHLQ $3, SI
	SUBQ BX, SI
	MOVQ SI, BX
	SHRQ $3, SI
	ADDQ R11, SI
	ANDL $7, BX
	MOVQ (SI), AX
	BSWAPQ AX
	SHLXQ BX, AX, AX
	ADDQ $7, SI
	XORQ $63, BX
	SUBQ $7, BX

out:
	MOVBLZX R10, R12
	SUBQ R12, BX
	SHRL $8, R10
	MOVQ s+0(FP), R14
	LEAQ stream_buf(R14), R11
	SUBQ R11, SI
	MOVQ AX, stream_acc(R14)
	MOVQ BX, stream_bits(R14)
	MOVQ SI, stream_pos(R14)
	MOVQ CX, done+48(FP)
	MOVQ R10, at+56(FP)
	MOVQ DX, e+64(FP)
	RET
