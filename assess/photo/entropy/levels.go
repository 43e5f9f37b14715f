package entropy

// wave is what Levels adds up of a cell.
type wave struct{}

func (w *wave) merge(o *wave) {}

func (w *wave) spread(c *Cell) {}

func (m *measurer) levels(blocks []int16, flat []bool, mx, my int) {}
