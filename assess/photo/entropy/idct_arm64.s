//go:build arm64 && !purego

#include "textflag.h"

// What Go's assembler has no words for stands as words, each beside its instruction as
// GNU as writes it. What is reckoned is what vector_amd64.s reckons, in lanes half as many.

// Four in a register, whose lanes are named beside.

DATA factors<>+0(SB)/8, $0xFFFC4DF200011518 // e18c, e18u
DATA factors<>+8(SB)/8, $0x00000454FFFE7822 // e18w, e12c
DATA factors<>+16(SB)/8, $0xFFFFF9E0FFFFF138 // e12u, e12w
DATA factors<>+24(SB)/8, $0xFFFFE9CE00000D4E // o3c, o3u
DATA factors<>+32(SB)/8, $0x00000FB10000046A // o3w, o1c
DATA factors<>+40(SB)/8, $0x00000C92FFFFED30 // o1u, o1w
DATA factors<>+48(SB)/8, $0x00002D41000000B5 // half8, half14
DATA factors<>+56(SB)/8, $0x0000000000080000 // round, zero
GLOBL factors<>(SB), RODATA|NOPTR, $64

// func idctVector(b *[64]int16, quant *[64]int32, out *[64]uint8)
//
// Sixteen registers hold the eight by eight numbers; v20 and v21 take part in turn, so that sums needn't be moved.
TEXT ·idctVector(SB), NOSPLIT, $0-24
	MOVD b+0(FP), R0
	MOVD quant+8(FP), R1
	MOVD out+16(FP), R2
	MOVD $factors<>(SB), R3
	WORD $0x4C40287C // ld1 {v28.4s, v29.4s, v30.4s, v31.4s}, [x3]

	// The columns, multiplied by their divisors.
	WORD $0x3DC00010 // ldr q16, [x0, #0]
	WORD $0xAD404C32 // ldp q18, q19, [x1, #0]
	WORD $0x0F10A600 // sshll v0.4s, v16.4h, #0
	WORD $0x4F10A608 // sshll2 v8.4s, v16.8h, #0
	WORD $0x4EB29C00 // mul v0.4s, v0.4s, v18.4s
	WORD $0x4EB39D08 // mul v8.4s, v8.4s, v19.4s
	WORD $0x3DC01010 // ldr q16, [x0, #64]
	WORD $0xAD444C32 // ldp q18, q19, [x1, #128]
	WORD $0x0F10A601 // sshll v1.4s, v16.4h, #0
	WORD $0x4F10A609 // sshll2 v9.4s, v16.8h, #0
	WORD $0x4EB29C21 // mul v1.4s, v1.4s, v18.4s
	WORD $0x4EB39D29 // mul v9.4s, v9.4s, v19.4s
	WORD $0x3DC00810 // ldr q16, [x0, #32]
	WORD $0xAD424C32 // ldp q18, q19, [x1, #64]
	WORD $0x0F10A602 // sshll v2.4s, v16.4h, #0
	WORD $0x4F10A60A // sshll2 v10.4s, v16.8h, #0
	WORD $0x4EB29C42 // mul v2.4s, v2.4s, v18.4s
	WORD $0x4EB39D4A // mul v10.4s, v10.4s, v19.4s
	WORD $0x3DC01810 // ldr q16, [x0, #96]
	WORD $0xAD464C32 // ldp q18, q19, [x1, #192]
	WORD $0x0F10A603 // sshll v3.4s, v16.4h, #0
	WORD $0x4F10A60B // sshll2 v11.4s, v16.8h, #0
	WORD $0x4EB29C63 // mul v3.4s, v3.4s, v18.4s
	WORD $0x4EB39D6B // mul v11.4s, v11.4s, v19.4s
	WORD $0x3DC01C10 // ldr q16, [x0, #112]
	WORD $0xAD474C32 // ldp q18, q19, [x1, #224]
	WORD $0x0F10A604 // sshll v4.4s, v16.4h, #0
	WORD $0x4F10A60C // sshll2 v12.4s, v16.8h, #0
	WORD $0x4EB29C84 // mul v4.4s, v4.4s, v18.4s
	WORD $0x4EB39D8C // mul v12.4s, v12.4s, v19.4s
	WORD $0x3DC00C10 // ldr q16, [x0, #48]
	WORD $0xAD434C32 // ldp q18, q19, [x1, #96]
	WORD $0x0F10A605 // sshll v5.4s, v16.4h, #0
	WORD $0x4F10A60D // sshll2 v13.4s, v16.8h, #0
	WORD $0x4EB29CA5 // mul v5.4s, v5.4s, v18.4s
	WORD $0x4EB39DAD // mul v13.4s, v13.4s, v19.4s
	WORD $0x3DC01410 // ldr q16, [x0, #80]
	WORD $0xAD454C32 // ldp q18, q19, [x1, #160]
	WORD $0x0F10A606 // sshll v6.4s, v16.4h, #0
	WORD $0x4F10A60E // sshll2 v14.4s, v16.8h, #0
	WORD $0x4EB29CC6 // mul v6.4s, v6.4s, v18.4s
	WORD $0x4EB39DCE // mul v14.4s, v14.4s, v19.4s
	WORD $0x3DC00410 // ldr q16, [x0, #16]
	WORD $0xAD414C32 // ldp q18, q19, [x1, #32]
	WORD $0x0F10A607 // sshll v7.4s, v16.4h, #0
	WORD $0x4F10A60F // sshll2 v15.4s, v16.8h, #0
	WORD $0x4EB29CE7 // mul v7.4s, v7.4s, v18.4s
	WORD $0x4EB39DEF // mul v15.4s, v15.4s, v19.4s

	// First pass: rows 0 to 3, then 4 to 7.
	WORD $0x4F315400 // shl v0.4s, v0.4s, #17
	WORD $0x4F315421 // shl v1.4s, v1.4s, #17
	WORD $0x4EA18414 // add v20.4s, v0.4s, v1.4s
	WORD $0x6EA18401 // sub v1.4s, v0.4s, v1.4s
	WORD $0x4EA38440 // add v0.4s, v2.4s, v3.4s
	WORD $0x4F9C8000 // mul v0.4s, v0.4s, v28.s[0]
	WORD $0x4F9C8852 // mul v18.4s, v2.4s, v28.s[2]
	WORD $0x4FBC8073 // mul v19.4s, v3.4s, v28.s[1]
	WORD $0x4EB38402 // add v2.4s, v0.4s, v19.4s
	WORD $0x6EB28403 // sub v3.4s, v0.4s, v18.4s
	WORD $0x4EA28420 // add v0.4s, v1.4s, v2.4s
	WORD $0x6EA28422 // sub v2.4s, v1.4s, v2.4s
	WORD $0x4EA38681 // add v1.4s, v20.4s, v3.4s
	WORD $0x6EA38683 // sub v3.4s, v20.4s, v3.4s
	WORD $0x4F275484 // shl v4.4s, v4.4s, #7
	WORD $0x4F2754E7 // shl v7.4s, v7.4s, #7
	WORD $0x4EA484F4 // add v20.4s, v7.4s, v4.4s
	WORD $0x6EA484E4 // sub v4.4s, v7.4s, v4.4s
	WORD $0x4F9F80C6 // mul v6.4s, v6.4s, v31.s[0]
	WORD $0x4F9F80A5 // mul v5.4s, v5.4s, v31.s[0]
	WORD $0x4EA58687 // add v7.4s, v20.4s, v5.4s
	WORD $0x6EA58685 // sub v5.4s, v20.4s, v5.4s
	WORD $0x4EA68494 // add v20.4s, v4.4s, v6.4s
	WORD $0x6EA68486 // sub v6.4s, v4.4s, v6.4s
	WORD $0x4F3E0694 // sshr v20.4s, v20.4s, #2
	WORD $0x4F3E04A5 // sshr v5.4s, v5.4s, #2
	WORD $0x4F3E04C6 // sshr v6.4s, v6.4s, #2
	WORD $0x4F3E04E7 // sshr v7.4s, v7.4s, #2
	WORD $0x4EA78684 // add v4.4s, v20.4s, v7.4s
	WORD $0x4F9D8884 // mul v4.4s, v4.4s, v29.s[2]
	WORD $0x4F9E8292 // mul v18.4s, v20.4s, v30.s[0]
	WORD $0x4FBD88F3 // mul v19.4s, v7.4s, v29.s[3]
	WORD $0x4EB38494 // add v20.4s, v4.4s, v19.4s
	WORD $0x6EB28487 // sub v7.4s, v4.4s, v18.4s
	WORD $0x4EA684A4 // add v4.4s, v5.4s, v6.4s
	WORD $0x4FBE8084 // mul v4.4s, v4.4s, v30.s[1]
	WORD $0x4FBE88B2 // mul v18.4s, v5.4s, v30.s[3]
	WORD $0x4F9E88D3 // mul v19.4s, v6.4s, v30.s[2]
	WORD $0x4EB38485 // add v5.4s, v4.4s, v19.4s
	WORD $0x6EB28486 // sub v6.4s, v4.4s, v18.4s
	WORD $0x4EA78424 // add v4.4s, v1.4s, v7.4s
	WORD $0x6EA78427 // sub v7.4s, v1.4s, v7.4s
	WORD $0x4EA68401 // add v1.4s, v0.4s, v6.4s
	WORD $0x6EA68406 // sub v6.4s, v0.4s, v6.4s
	WORD $0x4EA58440 // add v0.4s, v2.4s, v5.4s
	WORD $0x6EA58445 // sub v5.4s, v2.4s, v5.4s
	WORD $0x4EB48462 // add v2.4s, v3.4s, v20.4s
	WORD $0x6EB48474 // sub v20.4s, v3.4s, v20.4s
	WORD $0x4F315508 // shl v8.4s, v8.4s, #17
	WORD $0x4F315529 // shl v9.4s, v9.4s, #17
	WORD $0x4EA98515 // add v21.4s, v8.4s, v9.4s
	WORD $0x6EA98509 // sub v9.4s, v8.4s, v9.4s
	WORD $0x4EAB8548 // add v8.4s, v10.4s, v11.4s
	WORD $0x4F9C8108 // mul v8.4s, v8.4s, v28.s[0]
	WORD $0x4F9C8952 // mul v18.4s, v10.4s, v28.s[2]
	WORD $0x4FBC8173 // mul v19.4s, v11.4s, v28.s[1]
	WORD $0x4EB3850A // add v10.4s, v8.4s, v19.4s
	WORD $0x6EB2850B // sub v11.4s, v8.4s, v18.4s
	WORD $0x4EAA8528 // add v8.4s, v9.4s, v10.4s
	WORD $0x6EAA852A // sub v10.4s, v9.4s, v10.4s
	WORD $0x4EAB86A9 // add v9.4s, v21.4s, v11.4s
	WORD $0x6EAB86AB // sub v11.4s, v21.4s, v11.4s
	WORD $0x4F27558C // shl v12.4s, v12.4s, #7
	WORD $0x4F2755EF // shl v15.4s, v15.4s, #7
	WORD $0x4EAC85F5 // add v21.4s, v15.4s, v12.4s
	WORD $0x6EAC85EC // sub v12.4s, v15.4s, v12.4s
	WORD $0x4F9F81CE // mul v14.4s, v14.4s, v31.s[0]
	WORD $0x4F9F81AD // mul v13.4s, v13.4s, v31.s[0]
	WORD $0x4EAD86AF // add v15.4s, v21.4s, v13.4s
	WORD $0x6EAD86AD // sub v13.4s, v21.4s, v13.4s
	WORD $0x4EAE8595 // add v21.4s, v12.4s, v14.4s
	WORD $0x6EAE858E // sub v14.4s, v12.4s, v14.4s
	WORD $0x4F3E06B5 // sshr v21.4s, v21.4s, #2
	WORD $0x4F3E05AD // sshr v13.4s, v13.4s, #2
	WORD $0x4F3E05CE // sshr v14.4s, v14.4s, #2
	WORD $0x4F3E05EF // sshr v15.4s, v15.4s, #2
	WORD $0x4EAF86AC // add v12.4s, v21.4s, v15.4s
	WORD $0x4F9D898C // mul v12.4s, v12.4s, v29.s[2]
	WORD $0x4F9E82B2 // mul v18.4s, v21.4s, v30.s[0]
	WORD $0x4FBD89F3 // mul v19.4s, v15.4s, v29.s[3]
	WORD $0x4EB38595 // add v21.4s, v12.4s, v19.4s
	WORD $0x6EB2858F // sub v15.4s, v12.4s, v18.4s
	WORD $0x4EAE85AC // add v12.4s, v13.4s, v14.4s
	WORD $0x4FBE818C // mul v12.4s, v12.4s, v30.s[1]
	WORD $0x4FBE89B2 // mul v18.4s, v13.4s, v30.s[3]
	WORD $0x4F9E89D3 // mul v19.4s, v14.4s, v30.s[2]
	WORD $0x4EB3858D // add v13.4s, v12.4s, v19.4s
	WORD $0x6EB2858E // sub v14.4s, v12.4s, v18.4s
	WORD $0x4EAF852C // add v12.4s, v9.4s, v15.4s
	WORD $0x6EAF852F // sub v15.4s, v9.4s, v15.4s
	WORD $0x4EAE8509 // add v9.4s, v8.4s, v14.4s
	WORD $0x6EAE850E // sub v14.4s, v8.4s, v14.4s
	WORD $0x4EAD8548 // add v8.4s, v10.4s, v13.4s
	WORD $0x6EAD854D // sub v13.4s, v10.4s, v13.4s
	WORD $0x4EB5856A // add v10.4s, v11.4s, v21.4s
	WORD $0x6EB58575 // sub v21.4s, v11.4s, v21.4s

	// Turn columns into rows.
	WORD $0x4E812890 // trn1 v16.4s, v4.4s, v1.4s
	WORD $0x4E816891 // trn2 v17.4s, v4.4s, v1.4s
	WORD $0x4E822812 // trn1 v18.4s, v0.4s, v2.4s
	WORD $0x4E826813 // trn2 v19.4s, v0.4s, v2.4s
	WORD $0x4ED22A04 // trn1 v4.2d, v16.2d, v18.2d
	WORD $0x4ED32A21 // trn1 v1.2d, v17.2d, v19.2d
	WORD $0x4ED26A00 // trn2 v0.2d, v16.2d, v18.2d
	WORD $0x4ED36A22 // trn2 v2.2d, v17.2d, v19.2d
	WORD $0x4E852A90 // trn1 v16.4s, v20.4s, v5.4s
	WORD $0x4E856A91 // trn2 v17.4s, v20.4s, v5.4s
	WORD $0x4E8728D2 // trn1 v18.4s, v6.4s, v7.4s
	WORD $0x4E8768D3 // trn2 v19.4s, v6.4s, v7.4s
	WORD $0x4ED22A14 // trn1 v20.2d, v16.2d, v18.2d
	WORD $0x4ED32A25 // trn1 v5.2d, v17.2d, v19.2d
	WORD $0x4ED26A06 // trn2 v6.2d, v16.2d, v18.2d
	WORD $0x4ED36A27 // trn2 v7.2d, v17.2d, v19.2d
	WORD $0x4E892990 // trn1 v16.4s, v12.4s, v9.4s
	WORD $0x4E896991 // trn2 v17.4s, v12.4s, v9.4s
	WORD $0x4E8A2912 // trn1 v18.4s, v8.4s, v10.4s
	WORD $0x4E8A6913 // trn2 v19.4s, v8.4s, v10.4s
	WORD $0x4ED22A0C // trn1 v12.2d, v16.2d, v18.2d
	WORD $0x4ED32A29 // trn1 v9.2d, v17.2d, v19.2d
	WORD $0x4ED26A08 // trn2 v8.2d, v16.2d, v18.2d
	WORD $0x4ED36A2A // trn2 v10.2d, v17.2d, v19.2d
	WORD $0x4E8D2AB0 // trn1 v16.4s, v21.4s, v13.4s
	WORD $0x4E8D6AB1 // trn2 v17.4s, v21.4s, v13.4s
	WORD $0x4E8F29D2 // trn1 v18.4s, v14.4s, v15.4s
	WORD $0x4E8F69D3 // trn2 v19.4s, v14.4s, v15.4s
	WORD $0x4ED22A15 // trn1 v21.2d, v16.2d, v18.2d
	WORD $0x4ED32A2D // trn1 v13.2d, v17.2d, v19.2d
	WORD $0x4ED26A0E // trn2 v14.2d, v16.2d, v18.2d
	WORD $0x4ED36A2F // trn2 v15.2d, v17.2d, v19.2d

	// Second pass: columns 0 to 3, then 4 to 7.
	WORD $0x4E1407F2 // dup v18.4s, v31.s[2]
	WORD $0x4EB28484 // add v4.4s, v4.4s, v18.4s
	WORD $0x4EAC8483 // add v3.4s, v4.4s, v12.4s
	WORD $0x6EAC848C // sub v12.4s, v4.4s, v12.4s
	WORD $0x4F3E0463 // sshr v3.4s, v3.4s, #2
	WORD $0x4F3E058C // sshr v12.4s, v12.4s, #2
	WORD $0x4F330400 // sshr v0.4s, v0.4s, #13
	WORD $0x4F330508 // sshr v8.4s, v8.4s, #13
	WORD $0x4F330442 // sshr v2.4s, v2.4s, #13
	WORD $0x4F330529 // sshr v9.4s, v9.4s, #13
	WORD $0x4EA88404 // add v4.4s, v0.4s, v8.4s
	WORD $0x4FBC8884 // mul v4.4s, v4.4s, v28.s[3]
	WORD $0x4FBD8012 // mul v18.4s, v0.4s, v29.s[1]
	WORD $0x4F9D8113 // mul v19.4s, v8.4s, v29.s[0]
	WORD $0x4EB38480 // add v0.4s, v4.4s, v19.4s
	WORD $0x6EB28488 // sub v8.4s, v4.4s, v18.4s
	WORD $0x4EA08584 // add v4.4s, v12.4s, v0.4s
	WORD $0x6EA08580 // sub v0.4s, v12.4s, v0.4s
	WORD $0x4EA8846C // add v12.4s, v3.4s, v8.4s
	WORD $0x6EA88468 // sub v8.4s, v3.4s, v8.4s
	WORD $0x4EAA8423 // add v3.4s, v1.4s, v10.4s
	WORD $0x6EAA842A // sub v10.4s, v1.4s, v10.4s
	WORD $0x4FBF8042 // mul v2.4s, v2.4s, v31.s[1]
	WORD $0x4FBF8129 // mul v9.4s, v9.4s, v31.s[1]
	WORD $0x4EA28461 // add v1.4s, v3.4s, v2.4s
	WORD $0x6EA28462 // sub v2.4s, v3.4s, v2.4s
	WORD $0x4EA98543 // add v3.4s, v10.4s, v9.4s
	WORD $0x6EA98549 // sub v9.4s, v10.4s, v9.4s
	WORD $0x4F320463 // sshr v3.4s, v3.4s, #14
	WORD $0x4F320442 // sshr v2.4s, v2.4s, #14
	WORD $0x4F320529 // sshr v9.4s, v9.4s, #14
	WORD $0x4F320421 // sshr v1.4s, v1.4s, #14
	WORD $0x4EA1846A // add v10.4s, v3.4s, v1.4s
	WORD $0x4F9D894A // mul v10.4s, v10.4s, v29.s[2]
	WORD $0x4F9E8072 // mul v18.4s, v3.4s, v30.s[0]
	WORD $0x4FBD8833 // mul v19.4s, v1.4s, v29.s[3]
	WORD $0x4EB38543 // add v3.4s, v10.4s, v19.4s
	WORD $0x6EB28541 // sub v1.4s, v10.4s, v18.4s
	WORD $0x4EA9844A // add v10.4s, v2.4s, v9.4s
	WORD $0x4FBE814A // mul v10.4s, v10.4s, v30.s[1]
	WORD $0x4FBE8852 // mul v18.4s, v2.4s, v30.s[3]
	WORD $0x4F9E8933 // mul v19.4s, v9.4s, v30.s[2]
	WORD $0x4EB38542 // add v2.4s, v10.4s, v19.4s
	WORD $0x6EB28549 // sub v9.4s, v10.4s, v18.4s
	WORD $0x4EA1858A // add v10.4s, v12.4s, v1.4s
	WORD $0x6EA18581 // sub v1.4s, v12.4s, v1.4s
	WORD $0x4EA9848C // add v12.4s, v4.4s, v9.4s
	WORD $0x6EA98489 // sub v9.4s, v4.4s, v9.4s
	WORD $0x4EA28404 // add v4.4s, v0.4s, v2.4s
	WORD $0x6EA28402 // sub v2.4s, v0.4s, v2.4s
	WORD $0x4EA38500 // add v0.4s, v8.4s, v3.4s
	WORD $0x6EA38503 // sub v3.4s, v8.4s, v3.4s
	WORD $0x4E1407F2 // dup v18.4s, v31.s[2]
	WORD $0x4EB28694 // add v20.4s, v20.4s, v18.4s
	WORD $0x4EB5868B // add v11.4s, v20.4s, v21.4s
	WORD $0x6EB58695 // sub v21.4s, v20.4s, v21.4s
	WORD $0x4F3E056B // sshr v11.4s, v11.4s, #2
	WORD $0x4F3E06B5 // sshr v21.4s, v21.4s, #2
	WORD $0x4F3304C6 // sshr v6.4s, v6.4s, #13
	WORD $0x4F3305CE // sshr v14.4s, v14.4s, #13
	WORD $0x4F3304E7 // sshr v7.4s, v7.4s, #13
	WORD $0x4F3305AD // sshr v13.4s, v13.4s, #13
	WORD $0x4EAE84D4 // add v20.4s, v6.4s, v14.4s
	WORD $0x4FBC8A94 // mul v20.4s, v20.4s, v28.s[3]
	WORD $0x4FBD80D2 // mul v18.4s, v6.4s, v29.s[1]
	WORD $0x4F9D81D3 // mul v19.4s, v14.4s, v29.s[0]
	WORD $0x4EB38686 // add v6.4s, v20.4s, v19.4s
	WORD $0x6EB2868E // sub v14.4s, v20.4s, v18.4s
	WORD $0x4EA686B4 // add v20.4s, v21.4s, v6.4s
	WORD $0x6EA686A6 // sub v6.4s, v21.4s, v6.4s
	WORD $0x4EAE8575 // add v21.4s, v11.4s, v14.4s
	WORD $0x6EAE856E // sub v14.4s, v11.4s, v14.4s
	WORD $0x4EAF84AB // add v11.4s, v5.4s, v15.4s
	WORD $0x6EAF84AF // sub v15.4s, v5.4s, v15.4s
	WORD $0x4FBF80E7 // mul v7.4s, v7.4s, v31.s[1]
	WORD $0x4FBF81AD // mul v13.4s, v13.4s, v31.s[1]
	WORD $0x4EA78565 // add v5.4s, v11.4s, v7.4s
	WORD $0x6EA78567 // sub v7.4s, v11.4s, v7.4s
	WORD $0x4EAD85EB // add v11.4s, v15.4s, v13.4s
	WORD $0x6EAD85ED // sub v13.4s, v15.4s, v13.4s
	WORD $0x4F32056B // sshr v11.4s, v11.4s, #14
	WORD $0x4F3204E7 // sshr v7.4s, v7.4s, #14
	WORD $0x4F3205AD // sshr v13.4s, v13.4s, #14
	WORD $0x4F3204A5 // sshr v5.4s, v5.4s, #14
	WORD $0x4EA5856F // add v15.4s, v11.4s, v5.4s
	WORD $0x4F9D89EF // mul v15.4s, v15.4s, v29.s[2]
	WORD $0x4F9E8172 // mul v18.4s, v11.4s, v30.s[0]
	WORD $0x4FBD88B3 // mul v19.4s, v5.4s, v29.s[3]
	WORD $0x4EB385EB // add v11.4s, v15.4s, v19.4s
	WORD $0x6EB285E5 // sub v5.4s, v15.4s, v18.4s
	WORD $0x4EAD84EF // add v15.4s, v7.4s, v13.4s
	WORD $0x4FBE81EF // mul v15.4s, v15.4s, v30.s[1]
	WORD $0x4FBE88F2 // mul v18.4s, v7.4s, v30.s[3]
	WORD $0x4F9E89B3 // mul v19.4s, v13.4s, v30.s[2]
	WORD $0x4EB385E7 // add v7.4s, v15.4s, v19.4s
	WORD $0x6EB285ED // sub v13.4s, v15.4s, v18.4s
	WORD $0x4EA586AF // add v15.4s, v21.4s, v5.4s
	WORD $0x6EA586A5 // sub v5.4s, v21.4s, v5.4s
	WORD $0x4EAD8695 // add v21.4s, v20.4s, v13.4s
	WORD $0x6EAD868D // sub v13.4s, v20.4s, v13.4s
	WORD $0x4EA784D4 // add v20.4s, v6.4s, v7.4s
	WORD $0x6EA784C7 // sub v7.4s, v6.4s, v7.4s
	WORD $0x4EAB85C6 // add v6.4s, v14.4s, v11.4s
	WORD $0x6EAB85CB // sub v11.4s, v14.4s, v11.4s

	// Narrowing saturates, which is the clipping.
	WORD $0x4F048412 // movi v18.8h, #128
	WORD $0x4F2E054A // sshr v10.4s, v10.4s, #18
	WORD $0x4F2E05EF // sshr v15.4s, v15.4s, #18
	WORD $0x0E614950 // sqxtn v16.4h, v10.4s
	WORD $0x4E6149F0 // sqxtn2 v16.8h, v15.4s
	WORD $0x4E720E10 // sqadd v16.8h, v16.8h, v18.8h
	WORD $0x2E212A10 // sqxtun v16.8b, v16.8h
	WORD $0xFD000050 // str d16, [x2, #0]
	WORD $0x4F2E058C // sshr v12.4s, v12.4s, #18
	WORD $0x4F2E06B5 // sshr v21.4s, v21.4s, #18
	WORD $0x0E614990 // sqxtn v16.4h, v12.4s
	WORD $0x4E614AB0 // sqxtn2 v16.8h, v21.4s
	WORD $0x4E720E10 // sqadd v16.8h, v16.8h, v18.8h
	WORD $0x2E212A10 // sqxtun v16.8b, v16.8h
	WORD $0xFD000450 // str d16, [x2, #8]
	WORD $0x4F2E0484 // sshr v4.4s, v4.4s, #18
	WORD $0x4F2E0694 // sshr v20.4s, v20.4s, #18
	WORD $0x0E614890 // sqxtn v16.4h, v4.4s
	WORD $0x4E614A90 // sqxtn2 v16.8h, v20.4s
	WORD $0x4E720E10 // sqadd v16.8h, v16.8h, v18.8h
	WORD $0x2E212A10 // sqxtun v16.8b, v16.8h
	WORD $0xFD000850 // str d16, [x2, #16]
	WORD $0x4F2E0400 // sshr v0.4s, v0.4s, #18
	WORD $0x4F2E04C6 // sshr v6.4s, v6.4s, #18
	WORD $0x0E614810 // sqxtn v16.4h, v0.4s
	WORD $0x4E6148D0 // sqxtn2 v16.8h, v6.4s
	WORD $0x4E720E10 // sqadd v16.8h, v16.8h, v18.8h
	WORD $0x2E212A10 // sqxtun v16.8b, v16.8h
	WORD $0xFD000C50 // str d16, [x2, #24]
	WORD $0x4F2E0463 // sshr v3.4s, v3.4s, #18
	WORD $0x4F2E056B // sshr v11.4s, v11.4s, #18
	WORD $0x0E614870 // sqxtn v16.4h, v3.4s
	WORD $0x4E614970 // sqxtn2 v16.8h, v11.4s
	WORD $0x4E720E10 // sqadd v16.8h, v16.8h, v18.8h
	WORD $0x2E212A10 // sqxtun v16.8b, v16.8h
	WORD $0xFD001050 // str d16, [x2, #32]
	WORD $0x4F2E0442 // sshr v2.4s, v2.4s, #18
	WORD $0x4F2E04E7 // sshr v7.4s, v7.4s, #18
	WORD $0x0E614850 // sqxtn v16.4h, v2.4s
	WORD $0x4E6148F0 // sqxtn2 v16.8h, v7.4s
	WORD $0x4E720E10 // sqadd v16.8h, v16.8h, v18.8h
	WORD $0x2E212A10 // sqxtun v16.8b, v16.8h
	WORD $0xFD001450 // str d16, [x2, #40]
	WORD $0x4F2E0529 // sshr v9.4s, v9.4s, #18
	WORD $0x4F2E05AD // sshr v13.4s, v13.4s, #18
	WORD $0x0E614930 // sqxtn v16.4h, v9.4s
	WORD $0x4E6149B0 // sqxtn2 v16.8h, v13.4s
	WORD $0x4E720E10 // sqadd v16.8h, v16.8h, v18.8h
	WORD $0x2E212A10 // sqxtun v16.8b, v16.8h
	WORD $0xFD001850 // str d16, [x2, #48]
	WORD $0x4F2E0421 // sshr v1.4s, v1.4s, #18
	WORD $0x4F2E04A5 // sshr v5.4s, v5.4s, #18
	WORD $0x0E614830 // sqxtn v16.4h, v1.4s
	WORD $0x4E6148B0 // sqxtn2 v16.8h, v5.4s
	WORD $0x4E720E10 // sqadd v16.8h, v16.8h, v18.8h
	WORD $0x2E212A10 // sqxtun v16.8b, v16.8h
	WORD $0xFD001C50 // str d16, [x2, #56]
	RET
