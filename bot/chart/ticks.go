package chart

import (
	"math"
	"strconv"

	"gonum.org/v1/plot"

	"benchbell/core"
)

// levelTicks returns a few round numbers for a vertical axis. The topmost part
// of it stays free for the word over the axis.
func levelTicks(low, high float64) plot.ConstantTicks {
	const most, top = 6, 0.05
	return ticksBy(roundStep((high-low)/most), low, high-top*(high-low))
}

// roundStep returns the least of 1, 2 and 5 times a power of ten that is not
// below a number.
func roundStep(least float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(least)))
	for _, digit := range []float64{1, 2, 5} {
		if digit*power >= least {
			return digit * power
		}
	}
	return 10 * power
}

// mostTicks is more than fit on any axis.
const mostTicks = 20

// ticksBy returns the multiples of a step from low to high.
func ticksBy(step, low, high float64) plot.ConstantTicks {
	var ticks plot.ConstantTicks
	first := math.Ceil(low/step - 1e-9)
	for i := range mostTicks {
		v := (first + float64(i)) * step
		if !(v <= high+step*1e-9) {
			break
		}
		ticks = append(ticks, plot.Tick{Value: v, Label: number(v, step)})
	}
	return ticks
}

// number prints a multiple of a step, in few characters.
func number(v, step float64) string {
	decimals := int(max(0, -math.Floor(math.Log10(step)+1e-9)))
	if math.Abs(v) >= 1e6 || decimals > 5 {
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
	if s := strconv.FormatFloat(v, 'f', decimals, 64); s != "-0" {
		return s
	}
	return "0"
}

// minuteTicks returns round times of a hold of so many minutes.
func minuteTicks(minutes float64) plot.ConstantTicks {
	const most, mostOthers = 8, 5 // others have more digits
	step := roundStep(minutes / mostOthers)
	for _, s := range []float64{1, 2, 5, 10, 15, 30, 60, 120} {
		if minutes >= 2 && minutes/s <= most {
			step = s
			break
		}
	}
	return ticksBy(step, 0, minutes)
}

// dayTicks returns the beginnings of years, or of months where there are too
// few of years, from low to high days after an epoch.
func dayTicks(epoch core.Date, low, high float64) plot.ConstantTicks {
	const mostYears, mostMonths = 7, 4
	from, to := epoch.AddDays(int(math.Ceil(low))), epoch.AddDays(int(math.Floor(high)))
	if years := to.Year - from.Year; years >= 2 {
		step := max(1, int(roundStep(float64(years)/mostYears)))
		first := core.Date{Year: (from.Year + step) / step * step, Month: 1, Day: 1}
		return calendarTicks(epoch, first, to, 12*step, func(d core.Date) string { return strconv.Itoa(d.Year) })
	}
	months := 12*(to.Year-from.Year) + int(to.Month-from.Month)
	step := 12
	for _, s := range []int{6, 3, 2, 1} {
		if months/s <= mostMonths {
			step = s
		}
	}
	first := core.Date{Year: from.Year, Month: 1, Day: 1}
	for first.Before(from) {
		first = first.AddMonths(step)
	}
	return calendarTicks(epoch, first, to, step, func(d core.Date) string { return d.String()[:len("2026-03")] })
}

// calendarTicks returns every so many months from first to last.
func calendarTicks(epoch, first, last core.Date, months int, print func(core.Date) string) plot.ConstantTicks {
	var ticks plot.ConstantTicks
	for d := first; !d.After(last) && len(ticks) < mostTicks; d = d.AddMonths(months) {
		ticks = append(ticks, plot.Tick{Value: float64(d.Days(epoch)), Label: print(d)})
	}
	return ticks
}
