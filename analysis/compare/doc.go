// Package compare answers: did the mitigation work, and by how much?
//
// Compare holds one home's readings without its system against those with it:
// both annual means, of the same twelve months, their ratio and the reduction.
// Pool joins homes. Interrupted reads a continuous monitor through the switch,
// FindSwitch looks for the day of it, Cycle and WithWithout are for studies that
// switch a system on and off or have other homes to compare with.
package compare
