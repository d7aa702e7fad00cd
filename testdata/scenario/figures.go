package scenario

import (
	"fmt"
	"io"
	"math"
	"slices"
	"time"
)

// WriteFigures measures a district against the figures of the trade and writes
// a table: the first homes homes, living room unless a line says otherwise,
// whole years counted from the start. It says what the generator does; it is
// no model of it.
func (d *District) WriteFigures(out io.Writer, homes int) {
	years := d.days / 365
	windows := []int{2, 3, 7, 30, 90, 180}
	var annual, amplitude, oneYear, hourlyCoV, weekCoV, explained, yearly, bedroom, basement, winter, dailySwing []float64
	within := make([][]float64, len(windows)) // mean square log departure, one a home
	outOfSeason := 0
	for i := range homes {
		h := d.Home(i)
		c := h.Truth(Living)
		var ys []float64
		longCos, longSin := 0.0, 0.0
		ms := make([]float64, len(windows))
		for y := range years {
			year := c[y*8760 : (y+1)*8760]
			a := avg(year)
			ys = append(ys, a)
			days := make([]float64, 365)
			for k := range days {
				days[k] = avg(year[24*k : 24*k+24])
			}
			for j, n := range windows {
				sum, count := 0.0, 0
				for k := 0; k+n <= 365; k++ {
					l := math.Log(a / avg(days[k:k+n]))
					sum += l * l
					count++
				}
				ms[j] += sum / float64(count) / float64(years)
			}
			cos, sin := d.harmonic(days, y*365)
			longCos, longSin = longCos+cos/a/float64(years), longSin+sin/a/float64(years)
			oneYear = append(oneYear, math.Hypot(cos, sin)/a)
			if y == 0 {
				hourlyCoV = append(hourlyCoV, dev(year)/a)
				var wk []float64
				for k := 0; k+168 <= len(year); k += 168 {
					wk = append(wk, dev(year[k:k+168])/avg(year[k:k+168]))
				}
				weekCoV = append(weekCoV, avg(wk))
				explained = append(explained, d.explained(days))
				annual = append(annual, a)
				bedroom = append(bedroom, avg(h.Truth(Bedroom)[:8760])/a)
				if b := h.Truth(Basement); b != nil {
					basement = append(basement, avg(b[:8760])/a)
				}
				winter = append(winter, d.season(days, true)/d.season(days, false))
				dailySwing = append(dailySwing, swing(year))
			}
		}
		amplitude = append(amplitude, math.Hypot(longCos, longSin))
		if longCos < 0 {
			outOfSeason++
		}
		yearly = append(yearly, dev(ys)/avg(ys))
		for j := range windows {
			within[j] = append(within[j], ms[j])
		}
	}
	logs := make([]float64, len(annual))
	for i, a := range annual {
		logs[i] = math.Log(a)
	}
	line := func(name string, x []float64) {
		fmt.Fprintf(out, "%-44s %6.2f %6.2f %6.2f\n", name, quantile(x, 0.1), quantile(x, 0.5), quantile(x, 0.9))
	}
	fmt.Fprintf(out, "%d homes, %d years; annual mean GM %.0f Bq/m3, GSD %.2f\n", homes, years, math.Exp(avg(logs)), math.Exp(dev(logs)))
	fmt.Fprintf(out, "%-44s %6s %6s %6s\n", "", "10 %", "middle", "90 %")
	line("first harmonic over all years, relative", amplitude)
	line("first harmonic of one year, relative", oneYear)
	line("December-February over June-August", winter)
	line("hourly CoV, year", hourlyCoV)
	line("hourly CoV, week", weekCoV)
	line("mean day's highest hour over its lowest", dailySwing)
	line("weekly log variance explained by harmonic", explained)
	if years > 1 {
		line("year-to-year CV", yearly)
	}
	line("bedroom over living room, year", bedroom)
	line("basement over living room, year", basement)
	fmt.Fprintf(out, "share of homes that peak in summer: %.0f %%\n", 100*float64(outOfSeason)/float64(homes))
	fmt.Fprintln(out, "GSD of the year about a raw window of n days, all homes pooled; one home at 10 %, middle, 90 %")
	for j, n := range windows {
		g := make([]float64, len(within[j]))
		for i, v := range within[j] {
			g[i] = math.Exp(math.Sqrt(v))
		}
		fmt.Fprintf(out, "%4d d  %6.2f %30s %6.2f %6.2f %6.2f\n", n, math.Exp(math.Sqrt(avg(within[j]))), "", quantile(g, 0.1), quantile(g, 0.5), quantile(g, 0.9))
	}
}

func avg(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

func dev(x []float64) float64 {
	m, s := avg(x), 0.0
	for _, v := range x {
		s += (v - m) * (v - m)
	}
	return math.Sqrt(s / float64(len(x)-1))
}

func quantile(x []float64, p float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(x))
	return s[int(math.Round(p*float64(len(s)-1)))]
}

// harmonic is the first annual harmonic of 365 day means from day first on, its cosine counted
// from mid January.
func (d *District) harmonic(days []float64, first int) (cos, sin float64) {
	for k, v := range days {
		u := 2 * math.Pi * (dayOfYear(d.start.AddDate(0, 0, first+k)) - 15) / 365
		cos += v * math.Cos(u) * 2 / 365
		sin += v * math.Sin(u) * 2 / 365
	}
	return cos, sin
}

// explained is the share of the variance of the logarithms of weekly means that
// a first harmonic explains.
func (d *District) explained(days []float64) float64 {
	var l []float64
	for k := 0; k+7 <= 364; k += 7 {
		l = append(l, math.Log(avg(days[k:k+7])))
	}
	var cos, sin float64
	n := float64(len(l))
	for k, v := range l {
		u := 2 * math.Pi * float64(k) / n
		cos += v * math.Cos(u) * 2 / n
		sin += v * math.Sin(u) * 2 / n
	}
	s := dev(l)
	return (cos*cos + sin*sin) / 2 * n / (n - 1) / (s * s)
}

func (d *District) season(days []float64, winter bool) float64 {
	var x []float64
	for k, v := range days {
		switch d.start.AddDate(0, 0, k).Month() {
		case time.December, time.January, time.February:
			if winter {
				x = append(x, v)
			}
		case time.June, time.July, time.August:
			if !winter {
				x = append(x, v)
			}
		}
	}
	return avg(x)
}

// swing is the highest over the lowest hour of the mean day.
func swing(year []float64) float64 {
	var day [24]float64
	for i, v := range year {
		day[i%24] += v
	}
	return slices.Max(day[:]) / slices.Min(day[:])
}
