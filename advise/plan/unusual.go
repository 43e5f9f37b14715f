package plan

// Unusual says what is allowed but unusual.
func (p Plan) Unusual() []Fault { return nil }
