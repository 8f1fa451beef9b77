package weather

// beaufortFrom holds the lowest mean wind of forces 1 to 12 [m/s]
// (World Meteorological Organization's table in metres a second; the rows in
// knots and miles an hour are rounded apart and do not convert exactly).
var beaufortFrom = [...]float64{0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7}

// Beaufort gives the force, 0 to 12, of a mean wind [m/s] at 10 m. It is for
// people to read; no limit is checked by it.
func Beaufort(mean float64) int {
	force := 0
	for _, from := range beaufortFrom {
		if mean >= from {
			force++
		}
	}
	return force
}
