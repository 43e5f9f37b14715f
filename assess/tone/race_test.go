//go:build race

package tone

func init() { underRace = true }
