package assess

import (
	"thirdstop/assess/exposure"
	"thirdstop/assess/tone"
)

// witness reads a grey strip in a declared box.
func (m *meter) witness(b Box) *Witness {
	cells := m.cellsIn(b)
	w := &Witness{Level: m.median(cells, brightest), ClippedShare: m.tally(cells).any(), Box: b}
	for ch, to := range [3]*exposure.Stops{&w.Red, &w.Green, &w.Blue} {
		*to = m.medianOf(cells, ch)
	}
	return w
}

// medianOf is the level of the median cell of one channel.
func (m *meter) medianOf(cells []int32, ch int) exposure.Stops {
	if len(cells) == 0 {
		return tone.Floor
	}
	v := make([]ranked, len(cells))
	for n, i := range cells {
		q := &m.s.Cells[i]
		v[n] = ranked{m.c.Mean(ch, float64(q.Mean[ch]), float64(q.Var[ch])), i}
	}
	q := &m.s.Cells[nth(v, (len(v)-1)/2).item]
	l, _ := m.c.Stops(ch, float64(q.Mean[ch]), float64(q.Var[ch]))
	return l.Round()
}
