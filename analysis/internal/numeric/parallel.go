// Package numeric holds the small numerical tools the methods share.
package numeric

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Each calls do(i) for 0 ≤ i < n from as many goroutines as there are
// processors. A caller that writes only to slot i of a slice gets the same
// result whatever their number.
func Each(n int, do func(i int)) {
	workers := min(runtime.GOMAXPROCS(0), n)
	if workers <= 1 {
		for i := range n {
			do(i)
		}
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				do(i)
			}
		})
	}
	wg.Wait()
}
