package main

import (
	"bytes"
	"encoding/json"
	"io"
	"os"

	"golang.org/x/term"

	"thirdstop/assess/legible"
)

// screen is where people read. Names and sentences of any source go through it, so that
// no file, device or plan can give a terminal orders or turn a line round.
type screen struct{ w io.Writer }

// Write shows a piece of text. Pieces end between characters: that is how everything here is printed.
func (s screen) Write(p []byte) (int, error) {
	if _, err := io.WriteString(s.w, legible.Lines(string(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}

// behind is the writer itself, for what must not be altered: a log with its own escapes, and
// tables for other programs, which need no care unless they go to a terminal.
func behind(w io.Writer) io.Writer {
	if s, ok := w.(screen); ok {
		return s.w
	}
	return w
}

// forPrograms is where data goes: as it is, but not as it is to a terminal.
func forPrograms(w io.Writer) io.Writer {
	if terminal(behind(w)) {
		return w
	}
	return behind(w)
}

func terminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// jsonLine writes one JSON object on one line. What a terminal would obey is escaped in it, which
// changes nothing of its meaning.
func jsonLine(w io.Writer, v any) error {
	var line bytes.Buffer
	e := json.NewEncoder(&line)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return err
	}
	_, err := w.Write(legible.JSON(line.Bytes()))
	return err
}
