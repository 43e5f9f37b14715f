package dashboard

import (
	"fmt"
	"strings"

	goqr "github.com/piglig/go-qr"
)

// quiet is the empty border of a QR code in modules; ISO/IEC 18004 asks for four.
const quiet = 4

// modules is a QR code with its border: true is dark.
func modules(url string) ([][]bool, error) {
	code, err := goqr.EncodeText(url, goqr.Low)
	if err != nil {
		return nil, fmt.Errorf("the address can't be made a QR code: %w", err)
	}
	rows := make([][]bool, code.Size()+2*quiet)
	for y := range rows {
		rows[y] = make([]bool, len(rows))
	}
	for y := range code.Size() {
		for x := range code.Size() {
			rows[y+quiet][x+quiet] = code.Module(x, y)
		}
	}
	return rows, nil
}

// QR draws an address as a QR code for a terminal, two modules to a character.
// Colours are set for every line, dark on light, so that it reads on a dark terminal, too.
func QR(url string) (string, error) {
	rows, err := modules(url)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	for y := 0; y < len(rows); y += 2 {
		b.WriteString("\x1b[38;5;16;48;5;231m") // black on white out of the fixed part of the palette
		for x := range rows[y] {
			switch top, bottom := rows[y][x], y+1 < len(rows) && rows[y+1][x]; {
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

// qrRows is a QR code for a page to draw: one text a row, # is dark, its border included.
func qrRows(url string) ([]string, error) {
	rows, err := modules(url)
	out := make([]string, len(rows))
	for y, row := range rows {
		b := make([]byte, len(row))
		for x, dark := range row {
			b[x] = '.'
			if dark {
				b[x] = '#'
			}
		}
		out[y] = string(b)
	}
	return out, err
}
