//go:build arm64 && !purego

#include "textflag.h"
#include "go_asm.h"

// What Go's assembler has no words for stands as words, each beside its instruction as
// GNU as writes it. What is reckoned is what vector_amd64.s reckons, in lanes half as many.

// What is left of the factors of Cr for red, Cb and Cr for green and Cb for blue, once whole
// multiples of 65536 are taken out.
DATA mixes<>+0(SB)/8, $0xC5A2492EA7E666E9
DATA mixes<>+8(SB)/8, $0
GLOBL mixes<>(SB), RODATA|NOPTR, $16

// func termsVector(cb, cr *[64]uint8, out *terms, wide int)
TEXT ·termsVector(SB), NOSPLIT, $0-32
	MOVD cb+0(FP), R0
	MOVD cr+8(FP), R1
	MOVD out+16(FP), R2
	MOVD wide+24(FP), R3
	MOVD $mixes<>(SB), R4
	WORD $0x3DC00088 // ldr q8, [x4]
	WORD $0x4F04841E // movi v30.8h, #128
	WORD $0xD2800105 // mov x5, #8

	// row:
	WORD $0xFC408400 // ldr d0, [x0], #8
	WORD $0xFC408421 // ldr d1, [x1], #8
	WORD $0x2F08A400 // ushll v0.8h, v0.8b, #0
	WORD $0x2F08A421 // ushll v1.8h, v1.8b, #0
	WORD $0x6E7E8400 // sub v0.8h, v0.8h, v30.8h
	WORD $0x6E7E8421 // sub v1.8h, v1.8h, v30.8h

	// Red.
	WORD $0x0F48A030 // smull v16.4s, v1.4h, v8.h[0]
	WORD $0x4F48A031 // smull2 v17.4s, v1.8h, v8.h[0]
	WORD $0x0F108E03 // rshrn v3.4h, v16.4s, #16
	WORD $0x4F108E23 // rshrn2 v3.8h, v17.4s, #16
	WORD $0x4E618463 // add v3.8h, v3.8h, v1.8h

	// Green.
	WORD $0x0F58A010 // smull v16.4s, v0.4h, v8.h[1]
	WORD $0x4F58A011 // smull2 v17.4s, v0.8h, v8.h[1]
	WORD $0x0F682030 // smlal v16.4s, v1.4h, v8.h[2]
	WORD $0x4F682031 // smlal2 v17.4s, v1.8h, v8.h[2]
	WORD $0x0F108E05 // rshrn v5.4h, v16.4s, #16
	WORD $0x4F108E25 // rshrn2 v5.8h, v17.4s, #16
	WORD $0x6E6184A5 // sub v5.8h, v5.8h, v1.8h

	// Blue.
	WORD $0x0F78A010 // smull v16.4s, v0.4h, v8.h[3]
	WORD $0x4F78A011 // smull2 v17.4s, v0.8h, v8.h[3]
	WORD $0x0F108E07 // rshrn v7.4h, v16.4s, #16
	WORD $0x4F108E27 // rshrn2 v7.8h, v17.4s, #16
	WORD $0x4E6084E7 // add v7.8h, v7.8h, v0.8h
	WORD $0x4E6084E7 // add v7.8h, v7.8h, v0.8h
	WORD $0xB5000103 // cbnz x3, twice
	WORD $0x3D800043 // str q3, [x2, #0]
	WORD $0x3D804045 // str q5, [x2, #256]
	WORD $0x3D808047 // str q7, [x2, #512]
	WORD $0x91004042 // add x2, x2, #16
	WORD $0xF10004A5 // subs x5, x5, #1
	WORD $0x54FFFC41 // b.ne row
	WORD $0x14000010 // b end

	// twice:
	WORD $0x4E433870 // zip1 v16.8h, v3.8h, v3.8h
	WORD $0x4E437871 // zip2 v17.8h, v3.8h, v3.8h
	WORD $0x3D800050 // str q16, [x2, #0]
	WORD $0x3D800451 // str q17, [x2, #16]
	WORD $0x4E4538B0 // zip1 v16.8h, v5.8h, v5.8h
	WORD $0x4E4578B1 // zip2 v17.8h, v5.8h, v5.8h
	WORD $0x3D804050 // str q16, [x2, #256]
	WORD $0x3D804451 // str q17, [x2, #272]
	WORD $0x4E4738F0 // zip1 v16.8h, v7.8h, v7.8h
	WORD $0x4E4778F1 // zip2 v17.8h, v7.8h, v7.8h
	WORD $0x3D808050 // str q16, [x2, #512]
	WORD $0x3D808451 // str q17, [x2, #528]
	WORD $0x91008042 // add x2, x2, #32
	WORD $0xF10004A5 // subs x5, x5, #1
	WORD $0x54FFFA41 // b.ne row

	// end:
	RET

// func pixelsVector(r *pixelRun)
//
// v0 to v2 the block's sums; v3 to v5 squares; v6 to v8 the least, v9 to v11 the greatest;
// v12 to v14 how many are clipped, v15 of any channel.
TEXT ·pixelsVector(SB), NOSPLIT, $0-8
	MOVD r+0(FP), R0
	WORD $0xF9400001 // ldr x1, [x0]
	WORD $0xF9400402 // ldr x2, [x0, #8]
	WORD $0x91004003 // add x3, x0, #16
	WORD $0xF9401804 // ldr x4, [x0, #48]
	WORD $0xF9401C05 // ldr x5, [x0, #56]
	WORD $0x91010006 // add x6, x0, #64
	WORD $0x4F07E7DF // movi v31.16b, #254
	WORD $0x4F000403 // movi v3.4s, #0
	WORD $0x4F07E7E6 // movi v6.16b, #255
	WORD $0x4F00E409 // movi v9.16b, #0
	WORD $0x4F00E40C // movi v12.16b, #0
	WORD $0x4F000404 // movi v4.4s, #0
	WORD $0x4F07E7E7 // movi v7.16b, #255
	WORD $0x4F00E40A // movi v10.16b, #0
	WORD $0x4F00E40D // movi v13.16b, #0
	WORD $0x4F000405 // movi v5.4s, #0
	WORD $0x4F07E7E8 // movi v8.16b, #255
	WORD $0x4F00E40B // movi v11.16b, #0
	WORD $0x4F00E40E // movi v14.16b, #0
	WORD $0x4F00E40F // movi v15.16b, #0

	// block:
	WORD $0xF8408467 // ldr x7, [x3], #8
	WORD $0xD2800088 // mov x8, #4
	WORD $0x4F008400 // movi v0.8h, #0
	WORD $0x4F008401 // movi v1.8h, #0
	WORD $0x4F008402 // movi v2.8h, #0

	// pair:
	WORD $0x8B0500E9 // add x9, x7, x5
	WORD $0x3CC10430 // ldr q16, [x1], #16
	WORD $0x2F08A611 // ushll v17.8h, v16.8b, #0
	WORD $0x6F08A612 // ushll2 v18.8h, v16.16b, #0

	// Channel 0.
	WORD $0x3DC000F7 // ldr q23, [x7, #0]
	WORD $0x3DC00138 // ldr q24, [x9, #0]
	WORD $0x4E778635 // add v21.8h, v17.8h, v23.8h
	WORD $0x4E788656 // add v22.8h, v18.8h, v24.8h
	WORD $0x2E212AB5 // sqxtun v21.8b, v21.8h
	WORD $0x6E212AD5 // sqxtun2 v21.16b, v22.8h
	WORD $0x6E206AA0 // uadalp v0.8h, v21.16b
	WORD $0x2E35C2B6 // umull v22.8h, v21.8b, v21.8b
	WORD $0x6E35C2B7 // umull2 v23.8h, v21.16b, v21.16b
	WORD $0x6E606AC3 // uadalp v3.4s, v22.8h
	WORD $0x6E606AE3 // uadalp v3.4s, v23.8h
	WORD $0x6E356CC6 // umin v6.16b, v6.16b, v21.16b
	WORD $0x6E356529 // umax v9.16b, v9.16b, v21.16b
	WORD $0x6E3F3EB5 // cmhs v21.16b, v21.16b, v31.16b
	WORD $0x6E35858C // sub v12.16b, v12.16b, v21.16b
	WORD $0x4EB51EB9 // mov v25.16b, v21.16b

	// Channel 1.
	WORD $0x3DC040F7 // ldr q23, [x7, #256]
	WORD $0x3DC04138 // ldr q24, [x9, #256]
	WORD $0x4E778635 // add v21.8h, v17.8h, v23.8h
	WORD $0x4E788656 // add v22.8h, v18.8h, v24.8h
	WORD $0x2E212AB5 // sqxtun v21.8b, v21.8h
	WORD $0x6E212AD5 // sqxtun2 v21.16b, v22.8h
	WORD $0x6E206AA1 // uadalp v1.8h, v21.16b
	WORD $0x2E35C2B6 // umull v22.8h, v21.8b, v21.8b
	WORD $0x6E35C2B7 // umull2 v23.8h, v21.16b, v21.16b
	WORD $0x6E606AC4 // uadalp v4.4s, v22.8h
	WORD $0x6E606AE4 // uadalp v4.4s, v23.8h
	WORD $0x6E356CE7 // umin v7.16b, v7.16b, v21.16b
	WORD $0x6E35654A // umax v10.16b, v10.16b, v21.16b
	WORD $0x6E3F3EB5 // cmhs v21.16b, v21.16b, v31.16b
	WORD $0x6E3585AD // sub v13.16b, v13.16b, v21.16b
	WORD $0x4EB51F39 // orr v25.16b, v25.16b, v21.16b

	// Channel 2.
	WORD $0x3DC080F7 // ldr q23, [x7, #512]
	WORD $0x3DC08138 // ldr q24, [x9, #512]
	WORD $0x4E778635 // add v21.8h, v17.8h, v23.8h
	WORD $0x4E788656 // add v22.8h, v18.8h, v24.8h
	WORD $0x2E212AB5 // sqxtun v21.8b, v21.8h
	WORD $0x6E212AD5 // sqxtun2 v21.16b, v22.8h
	WORD $0x6E206AA2 // uadalp v2.8h, v21.16b
	WORD $0x2E35C2B6 // umull v22.8h, v21.8b, v21.8b
	WORD $0x6E35C2B7 // umull2 v23.8h, v21.16b, v21.16b
	WORD $0x6E606AC5 // uadalp v5.4s, v22.8h
	WORD $0x6E606AE5 // uadalp v5.4s, v23.8h
	WORD $0x6E356D08 // umin v8.16b, v8.16b, v21.16b
	WORD $0x6E35656B // umax v11.16b, v11.16b, v21.16b
	WORD $0x6E3F3EB5 // cmhs v21.16b, v21.16b, v31.16b
	WORD $0x6E3585CE // sub v14.16b, v14.16b, v21.16b
	WORD $0x4EB51F39 // orr v25.16b, v25.16b, v21.16b
	WORD $0x6E3985EF // sub v15.16b, v15.16b, v25.16b
	WORD $0x8B0400E7 // add x7, x7, x4
	WORD $0xF1000508 // subs x8, x8, #1
	WORD $0x54FFF921 // b.ne pair
	WORD $0x6E703815 // uaddlv s21, v0.8h
	WORD $0xBD0000D5 // str s21, [x6, #0]
	WORD $0x6E703835 // uaddlv s21, v1.8h
	WORD $0xBD0004D5 // str s21, [x6, #4]
	WORD $0x6E703855 // uaddlv s21, v2.8h
	WORD $0xBD0008D5 // str s21, [x6, #8]
	WORD $0x910040C6 // add x6, x6, #16
	WORD $0xF1000442 // subs x2, x2, #1
	WORD $0x54FFF761 // b.ne block

	// All blocks together.
	WORD $0x4EB1B875 // addv s21, v3.4s
	WORD $0xBD008015 // str s21, [x0, #128]
	WORD $0x6E31A8D5 // uminv b21, v6.16b
	WORD $0x3D028015 // str b21, [x0, #160]
	WORD $0x6E30A935 // umaxv b21, v9.16b
	WORD $0x3D02A015 // str b21, [x0, #168]
	WORD $0x4EB1B895 // addv s21, v4.4s
	WORD $0xBD008415 // str s21, [x0, #132]
	WORD $0x6E31A8F5 // uminv b21, v7.16b
	WORD $0x3D028415 // str b21, [x0, #161]
	WORD $0x6E30A955 // umaxv b21, v10.16b
	WORD $0x3D02A415 // str b21, [x0, #169]
	WORD $0x4EB1B8B5 // addv s21, v5.4s
	WORD $0xBD008815 // str s21, [x0, #136]
	WORD $0x6E31A915 // uminv b21, v8.16b
	WORD $0x3D028815 // str b21, [x0, #162]
	WORD $0x6E30A975 // umaxv b21, v11.16b
	WORD $0x3D02A815 // str b21, [x0, #170]
	WORD $0x4F000415 // movi v21.4s, #0
	WORD $0x6E303995 // uaddlv h21, v12.16b
	WORD $0xBD009015 // str s21, [x0, #144]
	WORD $0x4F000415 // movi v21.4s, #0
	WORD $0x6E3039B5 // uaddlv h21, v13.16b
	WORD $0xBD009415 // str s21, [x0, #148]
	WORD $0x4F000415 // movi v21.4s, #0
	WORD $0x6E3039D5 // uaddlv h21, v14.16b
	WORD $0xBD009815 // str s21, [x0, #152]
	WORD $0x4F000415 // movi v21.4s, #0
	WORD $0x6E3039F5 // uaddlv h21, v15.16b
	WORD $0xBD009C15 // str s21, [x0, #156]
	RET

// func dotsVector(d *dots)
TEXT ·dotsVector(SB), NOSPLIT, $0-8
	MOVD d+0(FP), R9
	MOVD dots_blocks(R9), R0
	MOVD dots_n(R9), R1
	ADD  $dots_quant, R9, R2
	ADD  $dots_scaled, R9, R3
	MOVD dots_m(R9), R4
	ADD  $dots_factors, R9, R5
	ADD  $dots_product, R9, R6
	WORD $0x4F07E7FF // movi v31.16b, #255
	WORD $0x4F00841E // movi v30.8h, #0
	WORD $0x6E1F73DF // ext v31.16b, v30.16b, v31.16b, #14

	// ext leaves the first word clear and sets the others: what a block keeps.

	// scale:
	WORD $0xF8408447 // ldr x7, [x2], #8
	WORD $0x4CDF2400 // ld1 {v0.8h, v1.8h, v2.8h, v3.8h}, [x0], #64
	WORD $0x4CDF2404 // ld1 {v4.8h, v5.8h, v6.8h, v7.8h}, [x0], #64
	WORD $0x4CDF24F0 // ld1 {v16.8h, v17.8h, v18.8h, v19.8h}, [x7], #64
	WORD $0x4C4024F4 // ld1 {v20.8h, v21.8h, v22.8h, v23.8h}, [x7]
	WORD $0x4E3F1C00 // and v0.16b, v0.16b, v31.16b
	WORD $0x4E709C00 // mul v0.8h, v0.8h, v16.8h
	WORD $0x4E719C21 // mul v1.8h, v1.8h, v17.8h
	WORD $0x4E729C42 // mul v2.8h, v2.8h, v18.8h
	WORD $0x4E739C63 // mul v3.8h, v3.8h, v19.8h
	WORD $0x4E749C84 // mul v4.8h, v4.8h, v20.8h
	WORD $0x4E759CA5 // mul v5.8h, v5.8h, v21.8h
	WORD $0x4E769CC6 // mul v6.8h, v6.8h, v22.8h
	WORD $0x4E779CE7 // mul v7.8h, v7.8h, v23.8h
	WORD $0x4C9F2460 // st1 {v0.8h, v1.8h, v2.8h, v3.8h}, [x3], #64
	WORD $0x4C9F2464 // st1 {v4.8h, v5.8h, v6.8h, v7.8h}, [x3], #64
	WORD $0xF1000421 // subs x1, x1, #1
	WORD $0x54FFFDE1 // b.ne scale

	// multiply:
	WORD $0xA8C120A7 // ldp x7, x8, [x5], #16
	WORD $0x4CDF24E0 // ld1 {v0.8h, v1.8h, v2.8h, v3.8h}, [x7], #64
	WORD $0x4C4024E4 // ld1 {v4.8h, v5.8h, v6.8h, v7.8h}, [x7]
	WORD $0x4CDF2510 // ld1 {v16.8h, v17.8h, v18.8h, v19.8h}, [x8], #64
	WORD $0x4C402514 // ld1 {v20.8h, v21.8h, v22.8h, v23.8h}, [x8]
	WORD $0x0E70C018 // smull v24.4s, v0.4h, v16.4h
	WORD $0x4E70C019 // smull2 v25.4s, v0.8h, v16.8h
	WORD $0x0E718038 // smlal v24.4s, v1.4h, v17.4h
	WORD $0x4E718039 // smlal2 v25.4s, v1.8h, v17.8h
	WORD $0x0E728058 // smlal v24.4s, v2.4h, v18.4h
	WORD $0x4E728059 // smlal2 v25.4s, v2.8h, v18.8h
	WORD $0x0E738078 // smlal v24.4s, v3.4h, v19.4h
	WORD $0x4E738079 // smlal2 v25.4s, v3.8h, v19.8h
	WORD $0x0E748098 // smlal v24.4s, v4.4h, v20.4h
	WORD $0x4E748099 // smlal2 v25.4s, v4.8h, v20.8h
	WORD $0x0E7580B8 // smlal v24.4s, v5.4h, v21.4h
	WORD $0x4E7580B9 // smlal2 v25.4s, v5.8h, v21.8h
	WORD $0x0E7680D8 // smlal v24.4s, v6.4h, v22.4h
	WORD $0x4E7680D9 // smlal2 v25.4s, v6.8h, v22.8h
	WORD $0x0E7780F8 // smlal v24.4s, v7.4h, v23.4h
	WORD $0x4E7780F9 // smlal2 v25.4s, v7.8h, v23.8h
	WORD $0x4EB98718 // add v24.4s, v24.4s, v25.4s
	WORD $0x4EB1BB18 // addv s24, v24.4s
	WORD $0xBC0044D8 // str s24, [x6], #4
	WORD $0xF1000484 // subs x4, x4, #1
	WORD $0x54FFFCE1 // b.ne multiply
	RET
