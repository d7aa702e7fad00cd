package temporal

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// restless is by how much, at least, the variance of a home's drift exceeds the
// profile's: 1 unless its own day means show with 95 % confidence that it does. The
// days nobody measured are then taken to vary like those that were, where the
// profile's homes would have them all near the middle of the logs.
//
// Formula. The variance of the logs of a detector's days in a room, about the mean
// season, over the mean of that variance under the profile; divided by the 95 %
// point of χ²/ν, ν by Satterthwaite: (tr K)²/tr K², K the profile's covariance of
// the days less their mean. Series are joined by ν.
//
// Assumes that a home that varies more does so at all time scales alike. A home is
// never taken to be quieter than the profile: few days look quiet by chance, and
// short of a month that would cost more than it gives.
//
// Source: Satterthwaite 1946, Biometrics Bull. 2:110.
func (m *machine) restless() float64 {
	type spot struct {
		detector, room int
		worked         bool
	}
	days := map[spot][]int{} // observations
	var order []spot
	for d := range m.byDay {
		for _, i := range m.byDay[d] {
			o := m.h.Observations[i]
			if o.Below {
				continue
			}
			s := spot{o.Detector, o.Room, o.Worked}
			if days[s] == nil {
				order = append(order, s)
			}
			days[s] = append(days[s], i)
		}
	}
	sum, expected, nu := 0.0, 0.0, 0.0
	for _, s := range order {
		if n := len(days[s]); n >= leastRestless && n <= mostRestless {
			q, e, d := m.scatter(days[s])
			sum, expected, nu = sum+q, expected+e, nu+d
		}
	}
	if nu == 0 {
		return 1
	}
	return max(1, sum/expected*nu/distuv.ChiSquared{K: nu}.Quantile(0.95))
}

// Restless is from which scale of the drift's variances on it is said that a home's
// days vary more than those of the profile's homes.
const Restless = 1.5

const (
	leastRestless = 4   // days, or nothing can be said of how they vary
	mostRestless  = 330 // of a year, beyond which nothing is left to say it of
)

// scatter is the sum of squares of the logs about their mean and the mean season,
// what the profile expects of it, and with how many degrees of freedom.
func (m *machine) scatter(obs []int) (sum, expected, nu float64) {
	n := len(obs)
	last := m.h.Observations[obs[n-1]].First - m.h.Observations[obs[0]].First
	meanSeason, season, drift := 1.0, 1.0, 1.0 // of the profile's: mean, log SD, variance
	if w := m.h.Work; w != nil && m.h.Observations[obs[0]].Worked {
		meanSeason, season, drift = w.Season, math.Sqrt(w.Season*w.Season+w.OwnSeason), w.Drift*w.Drift+w.OwnDrift
	}
	gamma := make([]float64, last+1) // covariance of the drift by lag
	for _, c := range m.drift {
		phi, g := math.Exp(-1/c.Days), drift*c.Variance
		for k := range gamma {
			gamma[k] += g
			g *= phi
		}
	}
	y, mean := make([]float64, n), 0.0
	x := make([][]float64, n)
	row := make([]float64, m.n)
	for j, i := range obs {
		o := m.h.Observations[i]
		m.fill(row, o.First, false)
		x[j] = append([]float64(nil), row[1:m.driftAt]...)
		y[j] = o.Log
		for k, b := range m.mean {
			y[j] -= meanSeason * b * x[j][k]
			x[j][k] *= season
		}
		mean += y[j] / float64(n)
	}
	K, rows, all := make([]float64, n*n), make([]float64, n), 0.0
	sx := make([]float64, len(m.mean))
	for j := range n {
		sum += (y[j] - mean) * (y[j] - mean)
		for k := range sx { // x_j' Cov
			sx[k] = 0
			for l, v := range x[j] {
				sx[k] += v * m.cov[l][k]
			}
		}
		for i := range j + 1 {
			v := gamma[m.h.Observations[obs[j]].First-m.h.Observations[obs[i]].First]
			for k, s := range sx {
				v += s * x[i][k]
			}
			if i == j {
				o := m.h.Observations[obs[j]]
				v += o.Variance + m.noise(o)
				rows[j] += v
				all += v
			} else {
				rows[i], rows[j] = rows[i]+v, rows[j]+v
				all += 2 * v
			}
			K[j*n+i] = v
		}
	}
	square := 0.0
	N := float64(n)
	for j := range n {
		for i := range j + 1 {
			v := K[j*n+i] - (rows[i]+rows[j])/N + all/(N*N)
			if i == j {
				expected += v
				square += v * v
			} else {
				square += 2 * v * v
			}
		}
	}
	if !(expected > 0) {
		return 0, 0, 0
	}
	return sum, expected, expected * expected / square
}
