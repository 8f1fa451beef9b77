package weather

// Range is what a quantity can be on this planet; a value outside it is a fault
// of an instrument, a unit or a file, and is read as unknown.
type Range struct{ Low, High float64 }

// The ranges, wide enough for any place where people put up roofs. Common
// sense, no source, but for the gust: 113 m/s is the highest measured (Barrow
// Island, 1996, World Meteorological Organization; from memory).
var (
	WindRange     = Range{0, 90}   // [m/s] mean
	GustRange     = Range{0, 115}  // [m/s]
	RainRange     = Range{0, 310}  // [mm] in an hour
	TempRange     = Range{-60, 60} // [degrees C]
	PercentRange  = Range{0, 100}
	FractionRange = Range{0, 1}

	VisibilityRange = Range{0, 400_000} // [m]
	RadiationRange  = Range{0, 1500}    // [W/m2]: above what falls outside the air, 1361 (solar constant), plus light from clouds
)

// Keep gives the value back when it is within the range, else unknown.
func (r Range) Keep(v Value) Value {
	if v.Known && v.N >= r.Low && v.N <= r.High {
		return v
	}
	return Value{}
}

// Higher gives the larger of two values that bound a step, unknown when either
// is: what happens between two instants is no less than the worse of them, and
// half a story is none.
func Higher(a, b Value) Value {
	if !a.Known || !b.Known {
		return Value{}
	}
	return Is(max(a.N, b.N))
}

// Lower is Higher for quantities whose low values matter.
func Lower(a, b Value) Value {
	if !a.Known || !b.Known {
		return Value{}
	}
	return Is(min(a.N, b.N))
}
