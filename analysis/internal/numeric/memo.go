package numeric

import "sync"

// Memo remembers the values of a function that costs much and is asked the same again
// and again, such as a quantile at the sample sizes of thousands of areas. Any number
// of goroutines may ask; a value is the same whoever had it worked out.
type Memo[K comparable, V any] struct{ seen sync.Map }

// Get is the value at k, by f the first time.
func (m *Memo[K, V]) Get(k K, f func() V) V {
	if v, ok := m.seen.Load(k); ok {
		return v.(V)
	}
	v := f()
	m.seen.Store(k, v)
	return v
}
