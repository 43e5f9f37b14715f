package main

import (
	"bytes"
	"strings"
	"testing"

	"thirdstop/testdata"
)

func TestTheDemoNamesAKeyThatTires(t *testing.T) {
	testdata.Long(t)
	var out, errs bytes.Buffer
	if code := playDemo(t.Context(), []string{"--headless", "--tire"}, &out, &errs, &leap{}); code != 0 {
		t.Fatalf("exit code %d: %s\n%s", code, errs.String(), out.String())
	}
	text := out.String()
	for _, want := range []string{"On target after", "the key tires", "Key (B)", "has been going down since", "truth: the key is down"} {
		if !strings.Contains(text, want) {
			t.Errorf("the demo does not say %q:\n%s", want, text[max(0, len(text)-1500):])
		}
	}
}
