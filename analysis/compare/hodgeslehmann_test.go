package compare

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestRanksByHand: of the log ratios 1, 2, 4 the six averages of two are 1, 1½, 2, 2½, 3,
// 4; the middle lies between 2 and 2½. Of 1, 3 against 0, 1, 2 the six differences are
// −1, 0, 1, 1, 2, 3. All of three ranks above all of three others is 1 of 20 orders.
func TestRanksByHand(t *testing.T) {
	l, notes := hodgesLehmann([]float64{4, 1, 2}, 0.5)
	near(t, "middle", l.mid, 2.25, 0)
	near(t, "lower", l.lower, 1.5, 0) // P(W ≤ 1) = 2/8, half of what 50 % leaves
	near(t, "upper", l.upper, 3, 0)
	if notes != nil {
		t.Error(notes)
	}
	l, notes = hodgesLehmannShift([]float64{3, 1}, []float64{1, 0, 2}, 0.8)
	near(t, "middle difference", l.mid, 1, 0)
	near(t, "lower difference", l.lower, -1, 0) // P(U = 0) = 1/10
	near(t, "upper difference", l.upper, 3, 0)
	if notes != nil {
		t.Error(notes)
	}
	near(t, "signed ranks", signedRanks(3)[3], 5.0/8, 0)
	near(t, "rank sums", rankSums(3, 3)[0], 1.0/20, 1e-16)
	near(t, "all rank sums", rankSums(50, 50)[2500], 1, 1e-12)
	near(t, "all signed ranks", signedRanks(50)[1275], 1, 1e-12)
	if _, notes = hodgesLehmann([]float64{1, 2, 3, 4, 5}, 0.9375); notes != nil {
		t.Errorf("five homes hold 93.75 %%: %v", notes)
	}
	if _, notes = hodgesLehmannShift([]float64{1, 2, 3}, []float64{4, 5, 6}, 0.95); len(notes) != 1 {
		t.Error("two groups of three reach 95 %")
	}
}

// TestRanksAgainstSlow: the distributions by listing all signs and all orders, and the
// limits by listing all averages and differences.
func TestRanksAgainstSlow(t *testing.T) {
	for n := 1; n <= 12; n++ {
		count := make([]float64, n*(n+1)/2+1)
		for signs := range 1 << n {
			w := 0
			for i := range n {
				if signs>>i&1 == 1 {
					w += i + 1
				}
			}
			count[w]++
		}
		p := signedRanks(n)
		for w, sum := 0, 0.0; w < len(count); w++ {
			sum += count[w]
			near(t, "signed ranks", p[w], sum/math.Exp2(float64(n)), 1e-14)
		}
		for m := 1; m < n; m++ { // m of n ranks are x
			count, total := make([]float64, m*(n-m)+1), 0.0
			for set := range 1 << n {
				if bits.OnesCount(uint(set)) != m {
					continue
				}
				u, below := 0, 0
				for i := range n {
					if set>>i&1 == 1 {
						u += below
					} else {
						below++
					}
				}
				count[u]++
				total++
			}
			p := rankSums(m, n-m)
			for u, sum := 0, 0.0; u < len(count); u++ {
				sum += count[u]
				near(t, "rank sums", p[u], sum/total, 1e-14)
			}
		}
	}
	// Normal beyond 50 is the exact count, or one beside it, or in the far tail a hundredth
	// less, which is the wider interval.
	for _, n := range []int{51, 80, 120} {
		for _, tail := range []float64{0.25, 0.05, 0.025, 0.005} {
			values := n * (n + 1) / 2
			exact, _ := rankLimit(values, tail, func() []float64 { return signedRanks(n) }, true, 0)
			normal, _ := rankLimit(values, tail, nil, false, math.Sqrt(float64(n)*float64(n+1)*float64(2*n+1)/24))
			if d := float64(exact - normal); d < -1 || d > 1+0.01*float64(exact) {
				t.Errorf("%d homes, tail %v: the %d-th, by the normal the %d-th", n, tail, exact, normal)
			}
		}
	}
	rng := rand.New(rand.NewPCG(8, 0))
	for range 200 {
		m, n := 1+rng.IntN(60), 1+rng.IntN(60)
		x, y := make([]float64, m), make([]float64, n)
		for _, z := range [][]float64{x, y} {
			for i := range z {
				z[i] = rng.NormFloat64()
				if m%3 == 0 {
					z[i] = math.Round(4*z[i]) / 4 // ties
				}
			}
		}
		var walsh, differences []float64
		for i := range x {
			for j := range i + 1 {
				walsh = append(walsh, x[i]/2+x[j]/2)
			}
			for _, v := range y {
				differences = append(differences, x[i]-v)
			}
		}
		slices.Sort(walsh)
		slices.Sort(differences)
		sx, sy := slices.Sorted(slices.Values(x)), slices.Sorted(slices.Values(y))
		for range 5 {
			k := 1 + rng.IntN(len(walsh))
			near(t, "an average", kth(func(t float64) int { return walshUpTo(sx, t) }, k, sx[0], sx[m-1]), walsh[k-1], 0)
			k = 1 + rng.IntN(len(differences))
			near(t, "a difference", kth(func(t float64) int { return differencesUpTo(sx, sy, t) }, k, sx[0]-sy[n-1], sx[m-1]-sy[0]), differences[k-1], 0)
		}
	}
}
