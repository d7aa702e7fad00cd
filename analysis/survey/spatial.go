package survey

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// network is which areas lie next to which, in an order that keeps neighbours close,
// so that matrices have few entries off their diagonal.
type network struct {
	next  [][]int // by area
	place []int   // of each area in the order
	area  []int   // at each place
	part  []int   // which connected part each area is in
	band  int     // furthest that neighbours lie apart in the order
}

// newNetwork reads neighbours from areas; one side naming the other is enough.
func newNetwork(d *design, known []Area) (*network, error) {
	if known == nil {
		return nil, errors.New("neighbours were asked for, and no areas were given that name them")
	}
	n := len(d.areas)
	index := map[string]int{}
	for j, a := range d.areas {
		index[a.name] = j
	}
	w := &network{next: make([][]int, n), place: make([]int, n), part: make([]int, n)}
	edges := 0
	for _, a := range known {
		i := index[a.Name]
		for _, name := range a.Neighbours {
			j, ok := index[name]
			switch {
			case !ok:
				return nil, fmt.Errorf("area %q has a neighbour %q, which is not among the areas given", a.Name, name)
			case i == j:
				return nil, fmt.Errorf("area %q is its own neighbour", a.Name)
			case slices.Contains(w.next[i], j):
				continue
			}
			w.next[i], w.next[j] = append(w.next[i], j), append(w.next[j], i)
			edges++
		}
	}
	if edges == 0 {
		return nil, errors.New("neighbours were asked for, and no area has any")
	}
	for i := range w.next {
		slices.Sort(w.next[i])
	}
	w.arrange()
	return w, nil
}

// arrange orders the areas by the reverse of Cuthill and McKee: each part from an area
// far out, neighbours with fewer neighbours first.
//
// Source: Cuthill and McKee 1969, Proc. 24th Nat. Conf. ACM, 157 (from memory).
func (w *network) arrange() {
	n := len(w.next)
	for i := range w.part {
		w.part[i] = -1
	}
	walk := func(from int, seen []bool) []int {
		queue := []int{from}
		seen[from] = true
		for k := 0; k < len(queue); k++ {
			var more []int
			for _, j := range w.next[queue[k]] {
				if !seen[j] {
					seen[j] = true
					more = append(more, j)
				}
			}
			slices.SortStableFunc(more, func(a, b int) int { return len(w.next[a]) - len(w.next[b]) })
			queue = append(queue, more...)
		}
		return queue
	}
	parts := 0
	for i := range n {
		if w.part[i] >= 0 {
			continue
		}
		from := i
		for range 3 { // the last reached is far from where it began
			q := walk(from, make([]bool, n))
			from = q[len(q)-1]
		}
		q := walk(from, make([]bool, n))
		for _, j := range q {
			w.part[j] = parts
		}
		parts++
		w.area = append(w.area, q...)
	}
	slices.Reverse(w.area)
	for k, j := range w.area {
		w.place[j] = k
	}
	for i := range n {
		for _, j := range w.next[i] {
			w.band = max(w.band, w.place[i]-w.place[j])
		}
	}
}

// Banded symmetric matrices are kept by rows: entry (i, i−k) at i·(band+1)+k.

// factor is the lower Cholesky factor of a banded matrix, in its own room.
func (w *network) factor(a []float64) (logDet float64, ok bool) {
	n, b := len(w.area), w.band+1
	for i := range n {
		row := a[i*b : i*b+b]
		for k := min(i, w.band); k >= 0; k-- {
			j := i - k
			other := a[j*b : j*b+b]
			s := row[k]
			for m := 1; m <= w.band-k && m <= j; m++ {
				s -= row[k+m] * other[m]
			}
			if k > 0 {
				row[k] = s / other[0]
			} else if !(s > 0) {
				return 0, false
			} else {
				row[0] = math.Sqrt(s)
				logDet += 2 * math.Log(row[0])
			}
		}
	}
	return logDet, true
}

// forward solves L y = v in place, in the network's order; backward Lᵀ y = v.
func (w *network) forward(l, v []float64) {
	b := w.band + 1
	for i := range v {
		s := v[i]
		for k := 1; k <= min(i, w.band); k++ {
			s -= l[i*b+k] * v[i-k]
		}
		v[i] = s / l[i*b]
	}
}

func (w *network) backward(l, v []float64) {
	b := w.band + 1
	for i := len(v) - 1; i >= 0; i-- {
		v[i] /= l[i*b]
		for k := 1; k <= min(i, w.band); k++ {
			v[i-k] -= l[i*b+k] * v[i]
		}
	}
}

// diagonal is that of the inverse, in the network's order, from the factor: the
// entries of the inverse within the band follow from each other backwards.
//
// Source: Takahashi, Fagan and Chin 1973, 8th PICA Conf., 63 (from memory).
func (w *network) diagonal(l []float64) []float64 {
	n, b := len(w.area), w.band+1
	z := make([]float64, n*b) // entry (i, i+k) at i·b+k
	at := func(i, j int) float64 {
		if i > j {
			i, j = j, i
		}
		return z[i*b+j-i]
	}
	for i := n - 1; i >= 0; i-- {
		last := min(i+w.band, n-1)
		for j := last; j >= i; j-- {
			s := 0.0
			if i == j {
				s = 1 / l[i*b]
			}
			for k := i + 1; k <= last; k++ {
				s -= l[k*b+k-i] * at(k, j)
			}
			z[i*b+j-i] = s / l[i*b]
		}
	}
	d := make([]float64, n)
	for i := range d {
		d[i] = z[i*b]
	}
	return d
}

// scatter makes areas' numbers with the precision that l is the factor of, of
// standard normal ones.
func (w *network) scatter(l, z, out []float64) {
	v := slices.Clone(z)
	w.backward(l, v)
	for k, j := range w.area {
		out[j] = v[k]
	}
}

// rhoNodes is how many smoothnesses the posterior is summed over.
const rhoNodes = 7

// smoothnesses are the priors of areas' effects at Gauss-Legendre nodes of ρ: the
// precision c((1−ρ)I + ρ(D − W)), with c for each connected part such that the
// variances' geometric mean is one, and 1 for an area without neighbours.
func (w *network) smoothnesses() ([]smoothness, error) {
	x, weight := legendre(rhoNodes)
	all := make([]smoothness, len(x))
	n, b := len(w.area), w.band+1
	for i, rho := range x {
		a := make([]float64, n*b)
		for j := range n {
			p := w.place[j]
			if len(w.next[j]) == 0 {
				a[p*b] = 1
				continue
			}
			a[p*b] = 1 - rho + rho*float64(len(w.next[j]))
			for _, k := range w.next[j] {
				if q := w.place[k]; q < p {
					a[p*b+p-q] = -rho
				}
			}
		}
		l := slices.Clone(a)
		if _, ok := w.factor(l); !ok {
			return nil, fmt.Errorf("the areas' neighbours make no sound smoothness at %v", rho)
		}
		variance := w.diagonal(l)
		sum, count := map[int]float64{}, map[int]float64{}
		for j := range n {
			sum[w.part[j]] += math.Log(variance[w.place[j]])
			count[w.part[j]]++
		}
		for j := range n {
			c := math.Exp(sum[w.part[j]] / count[w.part[j]])
			p := w.place[j]
			for k := range b {
				a[p*b+k] *= c
			}
		}
		l = slices.Clone(a)
		logDet, ok := w.factor(l)
		if !ok {
			return nil, fmt.Errorf("the areas' neighbours make no sound smoothness at %v", rho)
		}
		all[i] = smoothness{rho: rho, logWeight: math.Log(weight[i]), net: w, band: a, logDet: logDet}
	}
	return all, nil
}

// atPrior is at, with whatever prior the areas' effects have.
func (d *design) atPrior(s *sums, tau float64, r *smoothness, start []float64) point {
	if r.net == nil {
		return d.at(s, tau, start)
	}
	x := point{sigma: s.sigma, tau: tau, l: math.Inf(-1), beta: make([]float64, d.p)}
	if !s.sorted {
		return x
	}
	if len(d.rest) == 0 {
		x, _ = d.atNetwork(s, tau, r)
		return x
	}
	return d.laplace(s, tau, r, start)
}

// posteriorFactor is the factor of the areas' precision times τ², given the homes.
func (r *smoothness) posteriorFactor(d *design, t []float64, tau float64) ([]float64, float64, bool) {
	w := r.net
	b := w.band + 1
	l := slices.Clone(r.band)
	for k, j := range w.area {
		l[k*b] += tau * tau * t[j*d.q]
	}
	logDet, ok := w.factor(l)
	return l, logDet, ok
}

// atNetwork is at, for areas that resemble their neighbours: with K the effects'
// covariance and S their information from homes, what sums lose is
// tᵀ(K⁻¹ + S)⁻¹t, and the determinant gains |I + KS|.
func (d *design) atNetwork(s *sums, tau float64, r *smoothness) (point, []float64) {
	x := point{sigma: s.sigma, tau: tau, l: math.Inf(-1), beta: make([]float64, d.p)}
	l, logDet, ok := r.posteriorFactor(d, s.t, tau)
	if !ok {
		return x, nil
	}
	w := r.net
	y := make([][]float64, d.q)
	for a := range y {
		y[a] = make([]float64, len(w.area))
		for k, j := range w.area {
			y[a][k] = s.t[j*d.q+a]
		}
		w.forward(l, y[a])
	}
	m := slices.Clone(s.total)
	i := 0
	for a := range d.q {
		for c := a; c < d.q; c++ {
			m[i] -= tau * tau * dot(y[a], y[c])
			i++
		}
	}
	exact := *d
	exact.rest = nil
	return exact.solve(x, m, -s.logV/2-s.n*halfLog2Pi-(logDet-r.logDet)/2, s, nil), l
}

// effectsPrior is effectsAt, with whatever prior the areas' effects have.
func (d *design) effectsPrior(s *sums, x point, r *smoothness) conditional {
	if r.net == nil {
		return d.effectsAt(s, x, false)
	}
	if x.pull != nil {
		s = d.withPull(s, x.pull)
	}
	w := r.net
	n := len(d.areas)
	c := conditional{u: make([]float64, n), g: make([]float64, n), du: make([]float64, n*d.p)}
	l, _, ok := r.posteriorFactor(d, s.t, x.tau)
	if !ok {
		return c
	}
	v := make([]float64, n)
	tau2 := x.tau * x.tau
	for a := range d.p + 1 {
		for k, j := range w.area {
			t := s.t[j*d.q : j*d.q+d.q]
			if a < d.p {
				v[k] = t[a]
			} else {
				v[k] = t[d.p] - dot(t[:d.p], x.beta)
			}
		}
		w.forward(l, v)
		w.backward(l, v)
		for k, j := range w.area {
			if a < d.p {
				c.du[j*d.p+a] = -tau2 * v[k]
			} else {
				c.u[j] = tau2 * v[k]
			}
		}
	}
	for k, variance := range w.diagonal(l) {
		c.g[w.area[k]] = tau2 * variance
	}
	return c
}

// factorAt is the factor of the areas' precision for drawing.
func (d *design) factorAt(s *sums, x point, r *smoothness) []float64 {
	if x.pull != nil {
		s = d.withPull(s, x.pull)
	}
	l, _, ok := r.posteriorFactor(d, s.t, x.tau)
	if !ok {
		return nil
	}
	return l
}

// laplace is the likelihood with censored homes among areas that resemble their
// neighbours: at the joint top of effects and fixed effects, each censored home
// counts as the exact one that pulls as it does, and the curvature there stands for
// the integral. pull keeps what they pull with.
func (d *design) laplace(s *sums, tau float64, r *smoothness, start []float64) point {
	x := point{sigma: s.sigma, tau: tau, l: math.Inf(-1), beta: make([]float64, d.p)}
	n := len(d.areas)
	beta, u := make([]float64, d.p), make([]float64, n)
	copy(beta, start)
	z := make([]float64, d.q)
	last := math.Inf(-1)
	var c conditional
	for range 60 {
		pull := make([]float64, n*d.q+triangle(d.q))
		for i := range d.rest {
			k := &d.rest[i]
			eta := dot(k.x, beta) + u[k.area]
			_, f1, f2 := bounded(k.lower, k.upper, eta, 1/math.Sqrt(s.sigma*s.sigma+k.se2))
			weight := max(-f2, 1e-10)
			copy(z, k.x)
			z[d.p] = eta + f1/weight
			weight *= k.count
			outer(pull[n*d.q:], z, weight)
			t := pull[k.area*d.q : k.area*d.q+d.q]
			for a := range t {
				t[a] += weight * z[a]
			}
		}
		pulled := d.withPull(s, pull)
		y, l := d.atNetwork(pulled, tau, r)
		if l == nil || math.IsInf(y.l, -1) {
			return x
		}
		y.pull = pull
		c = d.effectsPrior(s, y, r)
		change := 0.0
		for k := range beta {
			change = max(change, math.Abs(y.beta[k]-beta[k]))
		}
		for j := range u {
			change = max(change, math.Abs(c.u[j]-u[j]))
		}
		// The joint density at where this step arrives; half steps if it fell.
		step := 1.0
		var now float64
		for range 20 {
			b, v := make([]float64, d.p), make([]float64, n)
			for k := range b {
				b[k] = beta[k] + step*(y.beta[k]-beta[k])
			}
			for j := range v {
				v[j] = u[j] + step*(c.u[j]-u[j])
			}
			now = d.jointDensity(s, tau, r, b, v)
			if now >= last-1e-9*(1+math.Abs(last)) || math.IsInf(last, -1) {
				beta, u = b, v
				break
			}
			step /= 2
		}
		last = now
		if change < 1e-7*(1+d.spread) {
			logDet := 0.0
			_, ld, _ := r.posteriorFactor(d, pulled.t, tau)
			logDet = ld - r.logDet
			x = y
			copy(x.beta, beta)
			x.l = last - logDet/2
			return x
		}
	}
	return x
}

// jointDensity is ln p(y | u, β) and the prior's uᵀQu, its determinant aside.
func (d *design) jointDensity(s *sums, tau float64, r *smoothness, beta, u []float64) float64 {
	z := append(slices.Clone(beta), -1)
	for k := range d.p {
		z[k] = -z[k]
	}
	z[d.p] = 1 // z is now (−β, 1): y − xβ
	l := -s.logV/2 - s.n*halfLog2Pi - spreadOf(s.total, z)/2
	for j, v := range u {
		t := s.t[j*d.q : j*d.q+d.q]
		l += v*dot(t, z) - v*v*t[0]/2
	}
	for i := range d.rest {
		k := &d.rest[i]
		f, _, _ := bounded(k.lower, k.upper, dot(k.x, beta)+u[k.area], 1/math.Sqrt(s.sigma*s.sigma+k.se2))
		l += k.count * f
	}
	if tau > 0 {
		w := r.net
		b := w.band + 1
		q := 0.0
		for i, j := range w.area {
			v := u[j] / tau
			q += v * v * r.band[i*b]
			for k := 1; k <= min(i, w.band); k++ {
				q += 2 * v * r.band[i*b+k] * u[w.area[i-k]] / tau
			}
		}
		l -= q / 2
	}
	return l
}

// withPull are sums with what censored homes pull with.
func (d *design) withPull(s *sums, pull []float64) *sums {
	n := len(d.areas) * d.q
	p := *s
	p.t, p.total = slices.Clone(s.t), slices.Clone(s.total)
	for i := range p.t {
		p.t[i] += pull[i]
	}
	for i := range p.total {
		p.total[i] += pull[n+i]
	}
	return &p
}

// rho are quantiles of the smoothness, its distribution taken as straight between
// the edges of what each node stands for.
func (g *grid) rho(tail float64) []float64 {
	weight := make([]float64, len(g.smooth))
	for _, p := range g.points {
		weight[p.at[2]] += p.weight
	}
	_, width := legendre(len(g.smooth))
	var q []float64
	for _, p := range []float64{tail, 0.5, 1 - tail} {
		edge, sum := 0.0, 0.0
		for i, w := range weight {
			if sum+w >= p || i == len(weight)-1 {
				q = append(q, min(edge+width[i]*min(max((p-sum)/max(w, 1e-300), 0), 1), 1))
				break
			}
			sum += w
			edge += width[i]
		}
	}
	return q
}
