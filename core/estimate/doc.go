// Package estimate works out what can only be estimated: how well a drop is
// known, what the air did to it, where a hold is heading, how large the leak
// is, and whether the drops of the years rise. It counts in plain SI numbers
// (pascals, seconds, kelvins, cubic metres) and knows nothing of suits, methods
// and runs. Nothing here decides: an estimate may take a pass back, but it
// never gives one. Package core decides, exactly, and brings its readings here.
//
// Five things to know first:
//
//   - [Budget] is the uncertainty of a margin, made of one [Component] for each
//     source. It tells the conformance probability, the expanded uncertainty,
//     and the interval, which always holds the margin as it was read.
//   - [Hold] is a hold in numbers: a [Sample] for each reading. It tells a
//     [Forecast] of the reading at the bell, the curve, and how fast it falls.
//   - [Estimate] is a value with its standard uncertainty and its 95 % interval.
//   - [LeakForm] is the law by which a leak lets the pressure fall; [Ambient],
//     [Throughput] and [HoleDiameter] make a size of it.
//   - [Trend] and [Outlier] are about a series of drops.
//
// Where to begin: budget.go and errors.go (how errors add up), air.go (what
// warmth and weather do to a closed suit), leak.go (how a leak lets it fall),
// hold.go and fit.go (from readings to a forecast), trend.go (over the years).
// What was chosen, and why, stands at the top of each.
package estimate
