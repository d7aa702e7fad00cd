package scenario

import (
	"fmt"
	"io"
	"math"
	"slices"
	"time"
)

// Spread is a figure over homes: a tenth of the homes lie below Low, half below
// Middle, nine tenths below High.
type Spread struct{ Low, Middle, High float64 }

// Window is how far raw means of so many days lie from the mean of their year,
// as a geometric standard deviation: over all homes and years pooled, and of
// one home.
type Window struct {
	Days   int
	Pooled float64
	Home   Spread
}

// Figures are what a district shows when measured like the homes of the
// published studies: the living room, true values, whole years of 365 days
// counted from the start.
type Figures struct {
	Homes, Years int
	GM, GSD      float64 // of the first year's mean over homes, Bq/m³
	Harmonic     Spread  // first annual harmonic of day means over all years, relative to the mean
	OneYear      Spread  // the same of each year for itself
	Winter       Spread  // December to February over June to August, first year
	Hourly       Spread  // coefficient of variation of hourly values, first year
	InWeek       Spread  // the same within calendar weeks, averaged
	MeanDay      Spread  // highest over lowest hour of the mean day, first year
	Explained    Spread  // share of the variance of log weekly means that one harmonic explains, first year
	Yearly       Spread  // coefficient of variation of a home's yearly means; 0 with a single year
	Bedroom      Spread  // bedroom over living room, first year
	Basement     Spread  // basement over living room, first year, homes that have one
	SummerPeak   float64 // share of homes whose harmonic peaks from mid April to mid October
	Windows      []Window
}

// Measure runs the first homes homes and measures them. It needs a span of at
// least 365 days. It says what the generator does; it is no model of it.
func (d *District) Measure(homes int) Figures {
	years := d.days / 365
	f := Figures{Homes: homes, Years: years}
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
	f.GM, f.GSD = math.Exp(avg(logs)), math.Exp(dev(logs))
	f.Harmonic, f.OneYear, f.Winter = spread(amplitude), spread(oneYear), spread(winter)
	f.Hourly, f.InWeek, f.MeanDay, f.Explained = spread(hourlyCoV), spread(weekCoV), spread(dailySwing), spread(explained)
	if years > 1 {
		f.Yearly = spread(yearly)
	}
	f.Bedroom, f.Basement = spread(bedroom), spread(basement)
	f.SummerPeak = float64(outOfSeason) / float64(homes)
	for j, n := range windows {
		g := make([]float64, len(within[j]))
		for i, v := range within[j] {
			g[i] = math.Exp(math.Sqrt(v))
		}
		f.Windows = append(f.Windows, Window{n, math.Exp(math.Sqrt(avg(within[j]))), spread(g)})
	}
	return f
}

// Write prints the figures as a table.
func (f Figures) Write(out io.Writer) {
	fmt.Fprintf(out, "%d homes, %d years; annual mean GM %.0f Bq/m3, GSD %.2f; %.0f %% of homes peak in summer\n", f.Homes, f.Years, f.GM, f.GSD, 100*f.SummerPeak)
	fmt.Fprintf(out, "%-46s %6s %6s %6s\n", "", "10 %", "middle", "90 %")
	line := func(name string, s Spread) {
		fmt.Fprintf(out, "%-46s %6.2f %6.2f %6.2f\n", name, s.Low, s.Middle, s.High)
	}
	line("first harmonic over all years, relative", f.Harmonic)
	line("first harmonic of one year, relative", f.OneYear)
	line("December-February over June-August", f.Winter)
	line("hourly coefficient of variation, year", f.Hourly)
	line("hourly coefficient of variation, week", f.InWeek)
	line("mean day, highest hour over lowest", f.MeanDay)
	line("variance of log weekly means in one harmonic", f.Explained)
	if f.Years > 1 {
		line("year-to-year coefficient of variation", f.Yearly)
	}
	line("bedroom over living room", f.Bedroom)
	line("basement over living room", f.Basement)
	for _, w := range f.Windows {
		line(fmt.Sprintf("GSD of year about raw %3d d; pooled %.2f; a home", w.Days, w.Pooled), w.Home)
	}
}

func spread(x []float64) Spread { return Spread{quantile(x, 0.1), quantile(x, 0.5), quantile(x, 0.9)} }

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
