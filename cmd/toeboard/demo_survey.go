package main

import "math/rand/v2"

// surveyFacts draws what the survey of house i found. The houses differ, so
// that their assessments do: rooflights, slates, a path under the eaves, an old
// ceiling, wires near the ridge. House 11 has not been asked about asbestos and
// house 14 about overhead lines: what is not known stays out, and says so.
func surveyFacts(i int, r *rand.Rand, covering string) map[string]any {
	facts := map[string]any{
		"covering": covering, "pitch_deg": 25 + r.IntN(5)*5, "has_rooflight": i%6 == 2, "conservatory_below": i%9 == 4,
		"moss": i%4 == 1, "access": "internal_ladder", "scaffold_lifts": 2, "scaffold_load_class": 3, "footpath": i%5 == 0, "occupied": true,
		"children": i%4 == 2, "pets": i%3 == 1, "neighbour_access": i%7 == 3,
		"inverter": []string{"string", "micro", "hybrid"}[i%3], "unit_kg": 18, "consumer_unit_change": i%2 == 0, "ac_connection": true,
		"service_overhead": i%10 == 7, "ohl_support": "none", "year_built": 1928 + (i*7)%90,
		"soffit_board": false, "textured_ceiling": i%6 == 1, "loft_lagging": false, "cut_tile": covering != "slate", "loft_work": true,
		"strip_slates": covering == "slate", "heat_pump": false, "hot_work": false, "trench": false, "wall_drill": true, "drill_minutes": 20,
		"bat_evidence": false, "nest_evidence": false, "harness": false,
		"battery_place": "no_battery", "ev_charger": i%8 == 5, "earthing": []string{"tn_s", "tn_c_s"}[i%2], "refrigerant": "none", "old_board": i%10 == 3,
		"existing_generator": false, "spray_foam": false, "flue_near": i%9 == 6, "medical_equipment": i%13 == 8, "gas_near": i%4 == 3,
		"nearest_access": "front of the house, stretcher by the side gate", "isolation_points": "cut-out and consumer unit under the stairs",
		"hospital":   "Quillmere General, emergency department",
		"phase_plan": true, "customer_access": true, "spare_tiles": 12 + i%8, "asbestos_result": "none_found",
	}
	if facts["footpath"] == true {
		facts["footpath_within_m"] = 1 + i%4
	}
	if i%12 == 9 {
		facts["ohl_support"], facts["ohl_distance_m"], facts["ohl_clearance_agreed"] = "wood_pole", 7.5, true
	}
	if facts["inverter"] == "hybrid" {
		facts["unit_kg"], facts["battery"], facts["battery_place"] = 32, true, []string{"garage", "utility_room", "outside"}[i%7%3]
	}
	switch i {
	case 11:
		delete(facts, "asbestos_result")
		delete(facts, "textured_ceiling")
	case 14:
		delete(facts, "ohl_support")
	}
	return facts
}
