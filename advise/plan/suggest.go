package plan

import (
	"slices"
	"strings"
)

// spellings are other spellings of the words that a value can have.
var spellings = map[string]string{
	"gray": "grey", "colored": "coloured", "color": "coloured", "colour": "coloured",
	"backdrop": "background", "main": "key", "rim": "hair", "third": "thirds",
	"bounce": "reflector", "tenth": "tenths", "1/3": "thirds", "0.1": "tenths", "stop": "whole", "stops": "whole", "full": "whole",
}

// otherWords are words of the trade that mean one of our keys.
var otherWords = map[string]string{
	"color": "colour", "f_number": "aperture", "fnumber": "aperture", "f-number": "aperture",
	"fstop": "aperture", "f_stop": "aperture", "time": "shutter", "exposure_time": "shutter",
	"speed": "shutter", "sensitivity": "iso", "background": "backdrop", "name": "shoot",
	"title": "shoot", "min": "least", "minimum": "least", "max": "most", "maximum": "most",
	"intensity": "power", "output": "power", "setting": "power", "steps": "clicks", "step": "clicks",
	"gn": "guide_number", "channel": "group", "letter": "group", "light": "lights", "flashes": "lights",
	"angle": "direction", "bearing": "direction", "azimuth": "direction", "target": "targets", "umbrella": "modifier", "softbox": "modifier", "limit": "full_flashes_per_minute",
	"sync_speed": "sync", "x_sync": "sync", "full": "top",
}

// unknownKey says which key was meant by one that a plan has not, and what to write.
func unknownKey(key, section string, known []string) (meant, text string) {
	k := strings.ToLower(strings.ReplaceAll(strings.TrimSpace(key), " ", "_"))
	near := otherWords[k]
	if near == "" || !slices.Contains(known, near) {
		near = nearest(k, known)
	}
	text = "is no key of a plan; "
	if section != "" {
		text = "is no key of " + strings.TrimRight(section, "]0123456789[") + "; "
	}
	if near != "" {
		return near, text + "write " + near
	}
	return "", text + "keys here are " + andList(known)
}

// nearest is the known word that differs by fewest letters, if a slip of the
// hand explains the difference: at most a third of the letters, and two at the least.
func nearest(word string, known []string) string {
	if len(word) > 40 {
		return ""
	}
	best, least := "", 1<<30
	for _, k := range known {
		if d := distance(word, k); d < least {
			best, least = k, d
		}
	}
	if least > max(2, len(best)/3) || least >= len([]rune(word)) {
		return ""
	}
	return best
}

// distance counts the letters to add, drop, change or swap with their neighbour
// (optimal string alignment after Damerau 1964).
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	rows := make([][]int, len(x)+1)
	for i := range rows {
		rows[i] = make([]int, len(y)+1)
		rows[i][0] = i
	}
	for j := range y {
		rows[0][j+1] = j + 1
	}
	for i := range x {
		for j := range y {
			cost := 1
			if x[i] == y[j] {
				cost = 0
			}
			d := min(rows[i][j+1]+1, rows[i+1][j]+1, rows[i][j]+cost)
			if i > 0 && j > 0 && x[i] == y[j-1] && x[i-1] == y[j] {
				d = min(d, rows[i-1][j-1]+1)
			}
			rows[i+1][j+1] = d
		}
	}
	return rows[len(x)][len(y)]
}

func orList(words []string) string  { return listed(words, " or ") }
func andList(words []string) string { return listed(words, " and ") }

func listed(words []string, last string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + last + words[len(words)-1]
}

func texts[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = string(v)
	}
	return out
}
