package analysis

import (
	"reflect"
	"testing"
)

// TestMethodCheck: each part of a method can be missed.
func TestMethodCheck(t *testing.T) {
	good := Method{Key: "k", Title: "t", Estimates: "e.", Formula: "f.", Assumes: "a.", Interval: "i.",
		Sources: []Source{{Key: "s", Cite: "c"}}, Evidence: Evidence{Reference: "r", ByHand: "b", Coverage: "c"}}
	if err := good.Check(); err != nil {
		t.Fatal(err)
	}
	cleared := 0
	for _, path := range [][]string{{"Key"}, {"Title"}, {"Estimates"}, {"Formula"}, {"Assumes"}, {"Interval"}, {"Sources"},
		{"Evidence", "Reference"}, {"Evidence", "ByHand"}, {"Evidence", "Coverage"}} {
		bad := good
		v := reflect.ValueOf(&bad).Elem()
		for _, name := range path {
			v = v.FieldByName(name)
		}
		v.SetZero()
		if bad.Check() == nil {
			t.Errorf("a method without %v was taken", path)
		}
		cleared++
	}
	for i, text := range []func(*Method) *string{
		func(m *Method) *string { return &m.Estimates }, func(m *Method) *string { return &m.Formula },
		func(m *Method) *string { return &m.Assumes }, func(m *Method) *string { return &m.Interval },
	} {
		bad := good
		if *text(&bad) = "no stop"; bad.Check() == nil {
			t.Errorf("text %d was taken without a full stop", i)
		}
	}
	bad := good
	bad.Sources = []Source{{Key: "s"}}
	if bad.Check() == nil {
		t.Error("a source without a citation was taken")
	}
	if cleared != 10 {
		t.Errorf("%d parts cleared", cleared)
	}
}
