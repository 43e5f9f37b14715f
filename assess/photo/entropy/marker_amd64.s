//go:build amd64 && !purego

#include "textflag.h"

// func markerVector(p *byte, n int) int
TEXT ·markerVector(SB), NOSPLIT, $0-24
	MOVQ p+0(FP), SI
	MOVQ n+8(FP), CX
	XORL AX, AX
	SUBQ $65, CX
	JLT  done
	VPCMPEQB Y14, Y14, Y14
	VPXOR Y15, Y15, Y15

next:
	// 255 here and no zero behind.
	VPCMPEQB (SI)(AX*1), Y14, Y0
	VPCMPEQB 32(SI)(AX*1), Y14, Y1
	VPCMPEQB 1(SI)(AX*1), Y15, Y2
	VPCMPEQB 33(SI)(AX*1), Y15, Y3
	VPANDN Y0, Y2, Y0
	VPANDN Y1, Y3, Y1
	VPOR Y0, Y1, Y2
	VPTEST Y2, Y2
	JNZ found
	ADDQ $64, AX
	CMPQ AX, CX
	JLE next
	JMP end

found:
	VPMOVMSKB Y0, DX
	VPMOVMSKB Y1, BX
	SHLQ $32, BX
	ORQ BX, DX
	BSFQ DX, DX
	ADDQ DX, AX

end:
	VZEROUPPER

done:
	MOVQ AX, ret+16(FP)
	RET
