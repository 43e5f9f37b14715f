package shoot

import (
	"os"
	"path/filepath"
	"testing"

	"thirdstop/assess/exposure"
)

var zero = 0.0

const zeroMetres = exposure.Metres(0)

func trailSize(t *testing.T, dir, name string) int64 {
	t.Helper()
	st, err := os.Stat(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return st.Size()
}
