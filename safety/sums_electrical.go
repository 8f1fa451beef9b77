package safety

import "fmt"

// StringTest is what is known of one string of modules and what was measured.
type StringTest struct {
	Modules     int
	VocSTC      float64 // [V] of one module at 25 degrees C
	TempCoeff   float64 // [%/K] of Voc, a negative number from the data sheet
	CellTempC   float64 // [degrees C] of the modules while measuring
	MeasuredV   float64 // [V] 0 = not measured yet
	PolarityOK  Answer  // whether polarity was proved first
	InsulationM float64 // [Mohm] 0 = not measured yet
}

// vocWithin is how far a string's open-circuit voltage may lie from what is
// expected (IEC 62446-1 6.4: within 5% for like strings, read on a test maker's
// poster; here also against the corrected data sheet, the firm's own rule).
const vocWithin = 0.05

// ExpectedVoc is the open-circuit voltage of the string at its temperature [V]:
// modules x Voc(STC) x (1 + coefficient/100 x (T - 25)).
func (s StringTest) ExpectedVoc() float64 {
	return float64(s.Modules) * s.VocSTC * (1 + s.TempCoeff/100*(s.CellTempC-25))
}

// SystemVoltage is modules x Voc(STC) x 1.25 [V], by which the test voltage of
// the insulation is chosen (IEC 62446-1 6.7).
func (s StringTest) SystemVoltage() float64 { return float64(s.Modules) * s.VocSTC * 1.25 }

// InsulationLimit gives the test voltage [V] and the least resistance [Mohm]
// for a system voltage: under 120 V 250 V and 0.5, to 500 V 500 V and 1, above
// it 1000 V and 1 (IEC 62446-1 6.7: voltages read on a poster, least values from
// memory; check against the original).
func InsulationLimit(systemV float64) (testV int, leastM float64) {
	switch {
	case systemV < 120:
		return 250, 0.5
	case systemV <= 500:
		return 500, 1
	default:
		return 1000, 1
	}
}

// check says what keeps the numbers from being a string's.
func (s StringTest) fault() string {
	switch {
	case s.Modules < 1 || s.Modules > 100:
		return "modules in the string: 1 to 100"
	case !(s.VocSTC >= 5 && s.VocSTC <= 200):
		return "open-circuit voltage of one module at 25 degrees C: 5 to 200 V, from its data sheet"
	case !(s.TempCoeff <= 0 && s.TempCoeff >= -1):
		return "temperature coefficient of the voltage: -1 to 0 %/K, from the data sheet"
	case !(s.CellTempC >= -40 && s.CellTempC <= 100):
		return "temperature of the modules: -40 to 100 degrees C"
	}
	return ""
}

// Voc says pass, fail or not yet of the open-circuit voltage: Met, NotMet,
// Unknown. Polarity comes first: without it there is no pass.
func (s StringTest) Voc() (State, string) {
	if why := s.fault(); why != "" {
		return Unknown, "not yet: " + why
	}
	want := s.ExpectedVoc()
	low, high := want*(1-vocWithin), want*(1+vocWithin)
	band := fmt.Sprintf("%.1f V expected at %g degrees C, %.1f to %.1f V passes", want, s.CellTempC, low, high)
	switch {
	case s.PolarityOK == No:
		return NotMet, "fail: polarity is wrong; do not connect"
	case s.PolarityOK != Yes:
		return Unknown, "not yet: polarity is proved before anything else; " + band
	case !(s.MeasuredV > 0):
		return Unknown, "not yet measured: " + band
	case s.MeasuredV < low || s.MeasuredV > high:
		return NotMet, fmt.Sprintf("fail: %.1f V measured, %.1f%% off; %s", s.MeasuredV, 100*(s.MeasuredV/want-1), band)
	}
	return Met, fmt.Sprintf("pass: %.1f V measured, %.1f%% off; %s", s.MeasuredV, 100*(s.MeasuredV/want-1), band)
}

// Insulation says pass, fail or not yet of the string's insulation resistance.
func (s StringTest) Insulation() (State, string) {
	if why := s.fault(); why != "" {
		return Unknown, "not yet: " + why
	}
	testV, least := InsulationLimit(s.SystemVoltage())
	limit := fmt.Sprintf("system voltage %.1f V, so test at %d V and at least %g Mohm", s.SystemVoltage(), testV, least)
	switch {
	case !(s.InsulationM > 0):
		return Unknown, "not yet measured: " + limit
	case s.InsulationM < least:
		return NotMet, fmt.Sprintf("fail: %g Mohm measured; %s", s.InsulationM, limit)
	}
	return Met, fmt.Sprintf("pass: %g Mohm measured; %s", s.InsulationM, limit)
}

// AmpsPerPhase adds AC ratings up [A]: watts over 230 V and the phases, no
// diversity (a network operator's rule). ok is false without a number.
func AmpsPerPhase(watts float64, phases int) (amps float64, ok bool) {
	if !(watts >= 0) || phases != 1 && phases != 3 {
		return 0, false
	}
	return watts / (230 * float64(phases)), true
}

// Notifiable tells whether a project is told to the regulator before it starts:
// more than 30 working days with more than 20 workers at once, or more than 500
// person-days (CDM 2015 reg 6, quoted in guidance).
func Notifiable(workingDays, atOnce, personDays int) bool {
	return workingDays > 30 && atOnce > 20 || personDays > 500
}
