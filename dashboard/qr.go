package dashboard

import (
	"fmt"
	"strings"

	goqr "github.com/piglig/go-qr"
)

// quiet is the empty border of a QR code in modules; ISO/IEC 18004 asks for four.
const quiet = 4

// QR draws an address as a QR code for a terminal, two modules to a character.
// Colours are set for every line, dark on light, so that it reads on a dark terminal, too.
func QR(url string) (string, error) {
	code, err := goqr.EncodeText(url, goqr.Low)
	if err != nil {
		return "", fmt.Errorf("the address can't be made a QR code: %w", err)
	}
	dark := func(x, y int) bool {
		return x >= 0 && y >= 0 && x < code.Size() && y < code.Size() && code.Module(x, y)
	}
	var b strings.Builder
	for y := -quiet; y < code.Size()+quiet; y += 2 {
		b.WriteString("\x1b[38;5;16;48;5;231m") // black on white out of the fixed part of the palette
		for x := -quiet; x < code.Size()+quiet; x++ {
			switch top, bottom := dark(x, y), dark(x, y+1); {
			case top && bottom:
				b.WriteRune('█')
			case top:
				b.WriteRune('▀')
			case bottom:
				b.WriteRune('▄')
			default:
				b.WriteByte(' ')
			}
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.String(), nil
}
