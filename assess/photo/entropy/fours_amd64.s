//go:build amd64 && !purego

#include "textflag.h"

// Constants: ones in bytes and in words, what rounds, and which bytes of each half hold the means.

DATA ones8<>+0(SB)/8, $0x0101010101010101
DATA ones8<>+8(SB)/8, $0x0101010101010101
DATA ones8<>+16(SB)/8, $0x0101010101010101
DATA ones8<>+24(SB)/8, $0x0101010101010101
GLOBL ones8<>(SB), RODATA|NOPTR, $32
DATA ones16<>+0(SB)/8, $0x0001000100010001
DATA ones16<>+8(SB)/8, $0x0001000100010001
DATA ones16<>+16(SB)/8, $0x0001000100010001
DATA ones16<>+24(SB)/8, $0x0001000100010001
GLOBL ones16<>(SB), RODATA|NOPTR, $32
DATA eights<>+0(SB)/8, $0x0000000800000008
DATA eights<>+8(SB)/8, $0x0000000800000008
DATA eights<>+16(SB)/8, $0x0000000800000008
DATA eights<>+24(SB)/8, $0x0000000800000008
GLOBL eights<>(SB), RODATA|NOPTR, $32
DATA firsts<>+0(SB)/8, $0x8080808080800400
DATA firsts<>+8(SB)/8, $0x8080808080808080
DATA firsts<>+16(SB)/8, $0x8080808080800400
DATA firsts<>+24(SB)/8, $0x8080808080808080
GLOBL firsts<>(SB), RODATA|NOPTR, $32

// func foursVector(samples *[64]uint8, n int, out *uint32)
TEXT ·foursVector(SB), NOSPLIT, $0-24
	MOVQ samples+0(FP), SI
	MOVQ n+8(FP), CX
	MOVQ out+16(FP), DI
	VMOVDQU ones8<>(SB), Y15
	VMOVDQU ones16<>(SB), Y14
	VMOVDQU eights<>(SB), Y13
	VMOVDQU firsts<>(SB), Y12

block:
	// Sums of two samples, then of four: two in each row, four rows in a register.
	VMOVDQU (SI), Y0
	VMOVDQU 32(SI), Y1
	VPMADDUBSW Y15, Y0, Y0
	VPMADDUBSW Y15, Y1, Y1
	VPMADDWD Y14, Y0, Y0
	VPMADDWD Y14, Y1, Y1

	// The upper four rows in the lower half of the register, the lower ones in the upper.
	VPERM2I128 $0x20, Y1, Y0, Y2
	VPERM2I128 $0x31, Y1, Y0, Y3
	VPADDD Y3, Y2, Y2
	VPSHUFD $0x4E, Y2, Y3
	VPADDD Y3, Y2, Y2

	VPADDD Y13, Y2, Y2
	VPSRLD $4, Y2, Y2
	VPSHUFB Y12, Y2, Y2
	VEXTRACTI128 $1, Y2, X3
	VPUNPCKLWD X3, X2, X2
	VMOVD X2, (DI)
	ADDQ $64, SI
	ADDQ $4, DI
	DECQ CX
	JNZ block
	VZEROUPPER
	RET
