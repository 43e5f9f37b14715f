package plan

import "testing"

func TestTheAnnotatedExampleHasNoFaults(t *testing.T) {
	p, faults, unusual := Check("example.yaml", Annotated())
	if faults != nil {
		t.Fatalf("the example has faults:\n%v", faults)
	}
	for _, u := range unusual {
		t.Errorf("the example is unusual: %v", u)
	}
	back, faults := Parse("canonical", p.Marshal())
	if faults != nil {
		t.Fatalf("the canonical form has faults:\n%v\n%s", faults, p.Marshal())
	}
	_ = back
}
