package exposure

import (
	"strconv"
	"strings"
)

// What people write is read here in one way for all units: lower case, spaces as they like
// except inside a number ("1 2 m" is no twelve metres), and numbers in plain
// digits ("0x10", "1e2" and "010" are slips rather than settings).

// compact lowers a text and takes its spaces out. It reports false where a space
// stands inside a number.
func compact(text string) (string, bool) {
	fields := strings.Fields(strings.ToLower(text))
	for i := 1; i < len(fields); i++ {
		if last := fields[i-1]; isDigit(last[len(last)-1]) && isDigit(fields[i][0]) {
			return "", false
		}
	}
	return strings.Join(fields, ""), true
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' || c == '.' }

// decimal reads digits with at most one point, such as "7", "0.7" or ".7": no
// sign, exponent or leading zero.
func decimal(t string) (float64, error) {
	whole, frac, point := strings.Cut(t, ".")
	plain := strings.Trim(whole, "0123456789") == "" && strings.Trim(frac, "0123456789") == ""
	if !plain || whole+frac == "" || point && frac == "" || len(t) > 40 || len(whole) > 1 && whole[0] == '0' {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseFloat(t, 64)
}

// count reads a whole number in plain digits.
func count(t string) (int, error) {
	if strings.Trim(t, "0123456789") != "" || len(t) > 1 && t[0] == '0' {
		return 0, strconv.ErrSyntax
	}
	return strconv.Atoi(t)
}
