package migrations

import (
	"errors"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// Each rule that the database keeps by itself is attacked with plain SQL, as
// the service, next to something like it that must pass.
func TestTheDatabaseKeepsItsRules(t *testing.T) {
	t.Parallel()
	_, app, firm, _ := twoFirms(t)
	const (
		secondCrew  = `insert into crew values (FIRM, #crew2, 'Second', 'roof', 55.9, -3.2, 30000, true)`
		secondJob   = `insert into job select firm_id, #job2, 'J2', site_id, customer_id, state, modules, module_watts, module_kg, module_m2, ready_on, promised_on, note, created_at from job`
		secondStage = `insert into stage values (FIRM, #job2, 'roof_work', 2, 'planned', NULL, NULL)`
		otherPlan   = `insert into plan values (FIRM, #plan2, 2, 'draft', #plan, '2026-01-05', 14, 1, 10, sha256(''), '{}', '[]', 'test', now(), NULL, NULL)`
		otherOffer  = `insert into held_offer values (FIRM, #offer2, 'Other', '', '{}', 100, now() + interval '1 day', 'test', now(), 'held', '', NULL)`
		permit      = `insert into job_record values (FIRM, #permit, #job, 'isolation', now() - interval '1 hour', '{}', #lead, now())`
		endPermit   = `insert into job_record values (FIRM, #record3, #job, 'isolation_end', now(), jsonb_build_object('permit', #permit), #lead, now())`
		endRun      = `update plan_run set state = 'done', takes = 1, ended_at = now(), plan_id = #plan`
	)
	for _, c := range []struct {
		rule     string
		refuses  string // the constraint, or SQLSTATE where it has no name; "" = must pass
		scene    []string
		attempts string
	}{
		{"a crew is in one place per half-day", "visit_crew_double_booked", []string{secondJob, secondStage},
			`insert into visit values (FIRM, #plan, #job2, 'roof_work', #crew, NULL, '{[41001,41003)}', 0.7, 'test', false, '')`},
		{"the next half-day is free", "", []string{secondJob, secondStage},
			`insert into visit values (FIRM, #plan, #job2, 'roof_work', #crew, NULL, '{[41002,41004)}', 0.7, 'test', false, '')`},
		{"another crew is free", "", []string{secondJob, secondStage, secondCrew},
			`insert into visit values (FIRM, #plan, #job2, 'roof_work', #crew2, NULL, '{[41001,41003)}', 0.7, 'test', false, '')`},
		{"two plans may differ about the same half-day", "", []string{otherPlan},
			`insert into visit values (FIRM, #plan2, #job, 'roof_work', #crew, NULL, '{[41001,41003)}', 0.7, 'test', false, '')`},
		{"a visit with a gap is booked out only where it stands", "", []string{secondJob, secondStage, otherPlan,
			`insert into visit values (FIRM, #plan2, #job, 'roof_work', #crew, NULL, '{[41001,41002),[41004,41005)}', 0.7, 'test', false, '')`},
			`insert into visit values (FIRM, #plan2, #job2, 'roof_work', #crew, NULL, '{[41002,41004)}', 0.7, 'test', false, '')`},
		{"roof work is not a scaffold firm's", "visit_check1", []string{otherPlan},
			`insert into visit values (FIRM, #plan2, #job, 'roof_work', NULL, #scaffolder, '{[41001,41003)}', 0.7, 'test', false, '')`},
		{"a visit is somebody's", "visit_check", []string{otherPlan},
			`insert into visit values (FIRM, #plan2, #job, 'roof_work', NULL, NULL, '{[41001,41003)}', 0.7, 'test', false, '')`},
		{"a chance is never certain", "visit_chance_check", []string{otherPlan},
			`insert into visit values (FIRM, #plan2, #job, 'roof_work', #crew, NULL, '{[41001,41003)}', 1, 'test', false, '')`},

		{"one scaffold stands on a job at a time, the last day included", "booking_overlaps_on_job", nil,
			`insert into booking values (FIRM, #booking2, #job, #scaffolder, 'b2@example.com', 'wanted', '2026-02-20', '2026-02-27', 0, NULL, now())`},
		{"the day after is free", "", nil,
			`insert into booking values (FIRM, #booking2, #job, #scaffolder, 'b2@example.com', 'wanted', '2026-02-21', '2026-02-27', 0, NULL, now())`},
		{"a cancelled booking blocks nothing", "", []string{`update booking set state = 'cancelled'`},
			`insert into booking values (FIRM, #booking2, #job, #scaffolder, 'b2@example.com', 'wanted', '2026-02-10', '2026-02-27', 0, NULL, now())`},
		{"a booking ends after it begins", "booking_check", nil, `update booking set strike_on = '2026-02-01'`},
		{"a booking's sequence never falls", "booking_sequence_never_falls", nil, `update booking set sequence = 2`},
		{"a booking's sequence rises", "", nil, `update booking set sequence = 4, erect_on = '2026-02-03'`},
		{"a booking keeps its uid for life", "booking_uid_for_life", nil, `update booking set uid = 'other@example.com'`},
		{"a counter-offer names its day", "booking_check1", nil, `update booking set state = 'countered'`},

		{"no exception from a condition of the law", "rule_exception_is_from_no_law", nil,
			`insert into rule_exception values (FIRM, #exception2, #crew, #job, '2026-02-03', 'B02', 'in a hurry', #lead, now())`},
		{"nobody names a condition of the law the firm's own", "own_rule_is_no_law", nil,
			`insert into own_rule values (FIRM, 'B02', 1, true, #lead, 'in a hurry', #lead, now())`},
		{"an exception is the named person's", "rule_exception_by_the_named", nil,
			`insert into rule_exception values (FIRM, #exception2, #crew, #job, '2026-02-03', 'B16', 'in a hurry', #member, now())`},
		{"the named person's passes", "", nil,
			`insert into rule_exception values (FIRM, #exception2, #crew, #job, '2026-02-03', 'B16', 'in a hurry', #lead, now())`},
		{"a rule that no longer binds names nobody", "rule_exception_by_the_named", []string{`insert into own_rule values (FIRM, 'B16', 2, false, #lead, 'test', #lead, now())`},
			`insert into rule_exception values (FIRM, #exception2, #crew, #job, '2026-02-03', 'B16', 'in a hurry', #lead, now())`},
		{"a link opens a page or a feed", "private_link_purpose_known", nil, `insert into private_link values (FIRM, #link2, #scaffolder, 'door', sha256('2'), now(), NULL, NULL, '', '')`},
		{"a link in a mail has an end", "private_link_of_a_mail_ends", nil,
			`insert into private_link values (FIRM, #link2, #scaffolder, 'mail', sha256('2'), now(), NULL, NULL, 'the mail', 'yard@example.com')`},
		{"a link in a mail ends soon", "private_link_of_a_mail_ends", nil,
			`insert into private_link values (FIRM, #link2, #scaffolder, 'mail', sha256('2'), now(), now() + interval '61 days', NULL, 'the mail', 'yard@example.com')`},
		{"a link in a mail went somewhere", "private_link_of_a_mail_ends", nil,
			`insert into private_link values (FIRM, #link2, #scaffolder, 'mail', sha256('2'), now(), now() + interval '30 days', NULL, 'the mail', '')`},
		{"a link in a mail of 30 days passes", "", nil,
			`insert into private_link values (FIRM, #link2, #scaffolder, 'mail', sha256('2'), now(), now() + interval '30 days', NULL, 'the mail', 'yard@example.com')`},
		{"a link that was ended stays so", "private_link_ended_for_good", []string{`update private_link set revoked_at = now()`}, `update private_link set revoked_at = NULL`},
		{"nor is its end put off", "private_link_ended_for_good", []string{`update private_link set revoked_at = now()`}, `update private_link set expires_at = now() + interval '1 day'`},
		{"a link is noted as used", "", nil, `update private_link set last_used_at = now()`},
		{"a link does not become another address", "private_link_stays_whose_it_is", nil, `update private_link set token_hash = sha256('guess')`},
		{"nor does it open a page instead of a feed", "private_link_stays_whose_it_is", nil, `update private_link set purpose = 'page'`},
		{"an induction is said by PIN", "induction_by_pin", nil,
			`insert into induction values (FIRM, #induction2, #lead, '2026-02-03', 'Gwen Strand', '["stop_rule"]', 'I was', 'typed', #lead, '2026-02-03 07:00Z')`},
		{"an induction covers something", "induction_covers_something", nil,
			`insert into induction values (FIRM, #induction2, #lead, '2026-02-03', 'Gwen Strand', '[]', 'I was', 'pin', #lead, '2026-02-03 07:00Z')`},
		{"an induction is of no day to come", "induction_has_been", nil,
			`insert into induction values (FIRM, #induction2, #lead, '2026-02-04', 'Gwen Strand', '["stop_rule"]', 'I was', 'pin', #lead, '2026-02-03 07:00Z')`},
		{"one of an earlier day passes", "", nil,
			`insert into induction values (FIRM, #induction2, #lead, '2025-02-03', 'Gwen Strand', '["stop_rule"]', 'I was', 'pin', #lead, '2026-02-03 07:00Z')`},
		{"a check-in has a number to ring", "check_in_can_be_rung", nil,
			`insert into check_in values (FIRM, #checkin2, #crew, #job, '2026-02-03', #lead, 'Gwen Strand', '+44 the office', 60, 'drives out', #lead, now())`},
		{"who expects a call can be mailed", "check_in_can_be_mailed", nil,
			`insert into check_in values (FIRM, #checkin2, #crew, #job, '2026-02-03', #lead, 'Gwen Strand', '+44 1632 960101', 60, 'drives out', #lead, now(), 'the office')`},
		{"a call says well or left", "lone_call_what_known", nil,
			`insert into lone_call values (FIRM, #lonecall2, #crew, #job, '2026-02-03', #lead, 'lost', #lead, now())`},
		{"a check-in is often enough", "check_in_often_enough", nil,
			`insert into check_in values (FIRM, #checkin2, #crew, #job, '2026-02-03', #lead, 'Gwen Strand', '+44 1632 960101', 121, 'drives out', #lead, now())`},
		{"a check-in every two hours passes", "", nil,
			`insert into check_in values (FIRM, #checkin2, #crew, #job, '2026-02-03', #lead, 'Gwen Strand', '+44 1632 960101', 120, 'drives out', #lead, now())`},
		{"a PIN is kept as its hash", "signing_pin_is_hashed", nil, `update signing_pin set pin_hash = '4071'`},
		{"a drawing is strokes", "sign_off_drawing_is_strokes", nil,
			`insert into sign_off values (FIRM, #signoff2, #crew, #job, '2026-02-03', #lead, #assessment, sha256(''), 'I have read it', 'Lead', NULL, now(), 'pin', 'M1 2"/><script>')`},
		{"a signature is typed or by PIN", "sign_off_proof_known", nil,
			`insert into sign_off values (FIRM, #signoff2, #crew, #job, '2026-02-03', #lead, #assessment, sha256(''), 'I have read it', 'Lead', NULL, now(), 'nod')`},
		{"a serial number stands once in a firm", "module_place_serial_once", nil,
			`insert into module_place values (FIRM, #job, 1, 2, 'SN-0001', #lead, now())`},
		{"a place on a roof holds one module", "module_place_pkey", nil,
			`insert into module_place values (FIRM, #job, 1, 1, 'SN-0002', #lead, now())`},
		{"a serial number is capitals and digits", "module_place_serial_is_one", nil,
			`insert into module_place values (FIRM, #job, 1, 2, 'sn 2', #lead, now())`},
		{"a module lies on the grid", "module_place_on_the_grid", nil,
			`insert into module_place values (FIRM, #job, 0, 2, 'SN-0002', #lead, now())`},
		{"a job's record has been", "job_record_has_been", nil,
			`insert into job_record values (FIRM, #record2, #job, 'near_miss', now() + interval '1 hour', '{}', #lead, now())`},
		{"a job's record is of a known kind", "job_record_kind_known", nil,
			`insert into job_record values (FIRM, #record2, #job, 'gossip', now(), '{}', #lead, now())`},
		{"a permit to isolate of another job is not ended here", "isolation_of_this_job", []string{secondJob, permit},
			`insert into job_record values (FIRM, #record3, #job2, 'isolation_end', now(), jsonb_build_object('permit', #permit), #lead, now())`},
		{"what is no permit is not ended", "isolation_of_this_job", nil,
			`insert into job_record values (FIRM, #record3, #job, 'isolation_end', now(), jsonb_build_object('permit', #record), #lead, now())`},
		{"a permit to isolate is ended", "", []string{permit}, endPermit},
		{"a permit to isolate is ended once", "isolation_ends_once", []string{permit, endPermit},
			`insert into job_record values (FIRM, #record4, #job, 'isolation_end', now(), jsonb_build_object('permit', #permit), #member, now())`},
		{"a permit that was ended is not taken over", "isolation_ends_once", []string{permit, endPermit},
			`insert into job_record values (FIRM, #record4, #job, 'isolation_taken', now(), jsonb_build_object('permit', #permit), #member, now())`},
		{"a permit to isolate ends after it began", "isolation_ends_after_it_began", []string{permit},
			`insert into job_record values (FIRM, #record3, #job, 'isolation_end', now() - interval '2 hours', jsonb_build_object('permit', #permit), #lead, now())`},
		{"a module leaves the drawing with a record of it", "", []string{
			`insert into module_clearance select firm_id, #clearance2, job_id, grid_row, grid_col, serial, by_person_id, at, #lead, now() from module_place`,
			`set constraints module_place_cleared_on_record immediate`}, `delete from module_place`},
		{"a module does not leave the drawing without one", "module_place_cleared_on_record", []string{`set constraints module_place_cleared_on_record immediate`}, `delete from module_place`},
		{"another module's record is none", "module_place_cleared_on_record", []string{
			`insert into module_clearance select firm_id, #clearance2, job_id, grid_row, grid_col, 'SN-0002', by_person_id, at, #lead, now() from module_place`,
			`set constraints module_place_cleared_on_record immediate`}, `delete from module_place`},
		{"heads go to one address", "head_recipient_address", nil,
			`insert into head_recipient values (FIRM, 2, 'Insurer', 'a@insurer.example, b@insurer.example', 'test', now())`},
		{"a weather service is named once", "weather_services_each_once", nil, `insert into weather_services values (FIRM, 3, '{a,b,a}', 'first', 'test', now(), 'a test')`},
		{"a weather service has a name", "weather_services_each_once", nil, `insert into weather_services values (FIRM, 3, '{a," "}', 'first', 'test', now(), 'a test')`},
		{"some weather service is asked", "weather_services_each_once", nil, `insert into weather_services values (FIRM, 3, '{}', 'first', 'test', now(), 'a test')`},
		{"the worse is of two", "weather_services_how_known", nil, `insert into weather_services values (FIRM, 3, '{a}', 'worst', 'test', now(), 'a test')`},
		{"answers go together in a known way", "weather_services_how_known", nil, `insert into weather_services values (FIRM, 3, '{a,b}', 'average', 'test', now(), 'a test')`},
		{"version 1 is the start", "weather_services_after_start", nil, `insert into weather_services values (FIRM, 1, '{a}', 'first', 'test', now(), 'a test')`},
		{"two weather services of which the worse counts pass", "", nil, `insert into weather_services values (FIRM, 3, '{a,b}', 'worst', 'test', now(), 'a test')`},
		{"heads go to a name with an address", "head_recipient_has_both", nil, `insert into head_recipient values (FIRM, 2, 'Insurer', '', 'test', now())`},
		{"heads go to nobody", "", nil, `insert into head_recipient values (FIRM, 2, '', '', 'test', now())`},
		{"a person is in one crew at a time", "crew_member_one_crew_at_a_time", []string{secondCrew},
			`insert into crew_member values (FIRM, #crew2, #lead, '[2026-05-01,2026-06-01)', false)`},
		{"a person may change crews", "", []string{secondCrew, `update crew_member set during = '[2026-01-01,2026-05-01)'`},
			`insert into crew_member values (FIRM, #crew2, #lead, '[2026-05-01,)', false)`},
		{"a crew has one lead at a time", "crew_member_one_lead_at_a_time", nil,
			`insert into crew_member values (FIRM, #crew, #member, '[2026-05-01,2026-06-01)', true)`},
		{"a crew has members beside its lead", "", nil,
			`insert into crew_member values (FIRM, #crew, #member, '[2026-05-01,2026-06-01)', false)`},

		{"thunder is one of the kinds of sky report", "", nil,
			`insert into sky_report values (FIRM, #sky2, #job, 'thunder', NULL, now(), #lead, now())`},
		{"a sky report of no kind", "sky_report_kind_known", nil,
			`insert into sky_report values (FIRM, #sky2, #job, 'hail', NULL, now(), #lead, now())`},
		{"a gust without its number", "sky_report_has_its_gust", nil,
			`insert into sky_report values (FIRM, #sky2, #job, 'gust', NULL, now(), #lead, now())`},
		{"thunder with a gust's number", "sky_report_has_its_gust", nil,
			`insert into sky_report values (FIRM, #sky2, #job, 'thunder', 5, now(), #lead, now())`},
		{"a gust that is no number", "sky_report_has_its_gust", nil,
			`insert into sky_report values (FIRM, #sky2, #job, 'gust', 'NaN', now(), #lead, now())`},
		{"thunder that is still to come", "sky_report_has_been", nil,
			`insert into sky_report values (FIRM, #sky2, #job, 'thunder', NULL, now() + interval '1 minute', #lead, now())`},
		{"a sky report of somebody unknown", "sky_report_firm_id_by_person_id_fkey", nil,
			`insert into sky_report values (FIRM, #sky2, #job, 'thunder', NULL, now(), #nobody, now())`},

		{"a photo that fits its sum", "", nil,
			`insert into photo values (FIRM, #photo2, #job, sha256('y'), 'image/jpeg', 'y', 'test', now())`},
		{"a photo with another sum", "photo_fits_its_sum", nil,
			`insert into photo values (FIRM, #photo2, #job, sha256('y'), 'image/jpeg', 'z', 'test', now())`},
		{"a photo of nothing", "photo_is_bounded", nil,
			`insert into photo values (FIRM, #photo2, #job, sha256(''), 'image/jpeg', '', 'test', now())`},
		{"a photo of more than 6 MiB", "photo_is_bounded", nil,
			`insert into photo select FIRM, #photo2, #job, sha256(b), 'image/jpeg', b, 'test', now() from (select convert_to(repeat('x', 6291457), 'UTF8') as b) as big`},
		{"a photo that is a page", "photo_kind_known", nil,
			`insert into photo values (FIRM, #photo2, #job, sha256('y'), 'text/html', 'y', 'test', now())`},
		{"a site hazard has its number alone", "site_hazard_once", nil,
			`insert into site_hazard values (FIRM, #seen2, #job, 1, '{}', NULL, NULL, 'test', now())`},
		{"a site hazard without a photo", "", nil,
			`insert into site_hazard values (FIRM, #seen2, #job, 2, '{}', NULL, NULL, 'test', now())`},
		{"a site hazard with a photo's sum alone", "site_hazard_has_its_photo", nil,
			`insert into site_hazard values (FIRM, #seen2, #job, 2, '{}', NULL, sha256('x'), 'test', now())`},
		{"a site hazard is taken away once", "site_hazard_removal_pkey", nil,
			`insert into site_hazard_removal values (FIRM, #seen, 'again', 'test', now())`},
		{"a scaffold of no lift", "scaffold_handover_lifts", []string{`insert into scaffold_report select firm_id, #report2, job_id, kind, for_whom, location, description, at, risks, action_taken, further, by_name, by_position, result, load_class, recorded_by, recorded_at from scaffold_report`},
			`insert into scaffold_handover values (FIRM, #report2, 'sheet', 0, 'none', 'test')`},
		{"a scaffold firm that works on no day", "scaffold_firm_works_some_day", nil, `update scaffold_firm set days_off = 31`},
		{"a scaffold firm off on a Sunday", "scaffold_firm_works_some_day", nil, `update scaffold_firm set days_off = 32`},
		{"a yard without a reach", "scaffold_firm_area_is_whole", nil, `update scaffold_firm set yard_lat = 52, yard_lon = -1`},
		{"a reach without a yard", "scaffold_firm_area_is_whole", nil, `update scaffold_firm set reach_km = 30`},
		{"a yard with half a place", "scaffold_firm_area_is_whole", nil, `update scaffold_firm set reach_km = 30, yard_lat = 52`},
		{"a reach of nothing", "scaffold_firm_area_is_on_earth", nil, `update scaffold_firm set reach_km = 0, yard_lat = 52, yard_lon = -1`},
		{"a yard off the earth", "scaffold_firm_area_is_on_earth", nil, `update scaffold_firm set reach_km = 30, yard_lat = 91, yard_lon = -1`},
		{"a yard at no number", "scaffold_firm_area_is_on_earth", nil, `update scaffold_firm set reach_km = 30, yard_lat = 'NaN', yard_lon = -1`},
		{"an area", "", nil, `update scaffold_firm set reach_km = 30, yard_lat = 52, yard_lon = -1`},
		{"a gust limit of nothing", "scaffold_firm_gust_limit", nil, `update scaffold_firm set gust_limit_ms = 0`},
		{"a gust limit that is no number", "scaffold_firm_gust_limit", nil, `update scaffold_firm set gust_limit_ms = 'NaN'`},
		{"a charge that no notice bounds", "scaffold_firm_cancelling", nil, `update scaffold_firm set cancel_pence = 9000`},
		{"a cancel notice of years", "scaffold_firm_cancelling", nil, `update scaffold_firm set cancel_notice = 61`},
		{"a scaffold firm off on Fridays", "", nil, `update scaffold_firm set days_off = 16`},
		{"a remedy that is still to come", "scaffold_remedy_has_been", nil,
			`insert into scaffold_remedy values (FIRM, #remedy2, #report, 'boards', 'A', now() + interval '1 minute', 'test', now())`},
		{"a delivery that is still to come", "scaffold_delivery_has_been", []string{`insert into scaffold_report select firm_id, #report2, job_id, kind, for_whom, location, description, at, risks, action_taken, further, by_name, by_position, result, load_class, recorded_by, recorded_at from scaffold_report`},
			`insert into scaffold_report_delivery values (FIRM, #report2, 'Firm', now() + interval '1 minute', 'test', now())`},

		{"a plan is saved with what it was replayed to", "", []string{otherPlan},
			`insert into plan values (FIRM, #run2, 3, 'draft', #plan, '2026-01-05', 14, 1, 10, sha256(''), '{}', '[]', 'test', now(), NULL, NULL, '{"replay": {"futures": 50}}')`},
		{"what a plan was replayed to is whole", "plan_replay_is_whole", nil,
			`insert into plan values (FIRM, #plan2, 2, 'draft', #plan, '2026-01-05', 14, 1, 10, sha256(''), '{}', '[]', 'test', now(), NULL, NULL, '{}')`},
		{"what a plan was replayed to is never changed", "42501", []string{otherPlan}, `update plan set replay = '{"replay": {}}'`},
		{"one plan is published", "plan_one_published", []string{otherPlan},
			`update plan set state = 'published', published_at = now(), published_by = 'test' where version = 2`},
		{"a plan is published in place of another", "", []string{otherPlan, `update plan set state = 'superseded' where version = 1`},
			`update plan set state = 'published', published_at = now(), published_by = 'test' where version = 2`},
		{"a published plan says when", "plan_check", []string{otherPlan}, `update plan set state = 'published' where version = 2`},
		{"two plans are not the same version", "plan_firm_id_version_key", nil,
			`insert into plan values (FIRM, #plan2, 1, 'draft', NULL, '2026-01-05', 14, 1, 10, sha256(''), '{}', '[]', 'test', now(), NULL, NULL)`},
		{"a plan's content never changes", "42501", nil, `update plan set cost = '{"less": 1}'`},

		{"a place is told to one customer", "held_place_crew_twice", []string{otherOffer},
			`insert into held_place values (FIRM, #offer2, 'roof_work', #crew, NULL, '{[41101,41103)}', true)`},
		{"the next half-day may be told to another", "", []string{otherOffer},
			`insert into held_place values (FIRM, #offer2, 'roof_work', #crew, NULL, '{[41102,41104)}', true)`},
		{"what is not kept may be told again", "", []string{otherOffer, `update held_place set keeps = false`},
			`insert into held_place values (FIRM, #offer2, 'roof_work', #crew, NULL, '{[41101,41103)}', true)`},
		{"an offer runs out after it was told", "held_offer_ends_after_it_was_told", nil, `update held_offer set until = told_at`},
		{"an offer that ended says when", "held_offer_end_is_known", nil, `update held_offer set state = 'released'`},
		{"a place is somebody's", "held_place_has_its_who", nil, `update held_place set crew_id = NULL`},
		{"a told offer is not removed", "42501", nil, `delete from held_place`},

		{"one plan is made at a time", "plan_run_one_at_a_time", nil,
			`insert into plan_run select firm_id, #run2, state, asked_by, asked_at, why, aim, seed, schedules, workers, takes, losses, generated, NULL, NULL, NULL, NULL, looked_at, NULL, false, NULL, NULL, '' from plan_run`},
		{"another is made after it", "", []string{endRun},
			`insert into plan_run values (FIRM, #run2, 'waiting', 'test', now(), '', 'least cost', 1, 10, 1, 0, 0, 0, NULL, NULL, NULL, NULL, now(), NULL, false, NULL, NULL, '')`},
		{"a run that ended stays as it is", "plan_run_has_ended", []string{endRun}, `update plan_run set state = 'stopped', reason = 'test'`},
		{"and cannot begin again", "plan_run_has_ended", []string{endRun}, `update plan_run set state = 'waiting', ended_at = NULL, plan_id = NULL`},
		{"somebody looks at a run that ended", "", []string{endRun}, `update plan_run set looked_at = now()`},
		{"a run that is done has its plan", "plan_run_done_has_its_plan", nil, `update plan_run set state = 'done', ended_at = now()`},
		{"a plan comes with the end", "plan_run_plan_comes_last", nil, `update plan_run set plan_id = #plan`},
		{"one plan comes from one run", "plan_run_one_for_a_plan", []string{endRun},
			`insert into plan_run values (FIRM, #run2, 'done', 'test', now(), '', 'least cost', 1, 10, 1, 1, 0, 10, 1, NULL, now(), now(), now(), NULL, false, now(), #plan, '')`},
		{"a run that failed says why", "plan_run_says_why", nil, `update plan_run set state = 'failed', ended_at = now()`},
		{"a run that has not ended has no end", "plan_run_ends_once", nil, `update plan_run set ended_at = now()`},
		{"a run runs in a worker that writes", "plan_run_runs_in_a_worker", nil, `update plan_run set state = 'running', takes = 1, began_at = now()`},
		{"what was asked for stays", "42501", nil, `update plan_run set schedules = 1`},
		{"a run cannot be removed by the service", "42501", nil, `delete from plan_run`},

		{"a promise is told only where there is one", "job_told_a_promise", nil, `update job set promise_told = true`},
		{"a promise is told", "", nil, `update job set promise_told = true, promised_on = '2026-03-01'`},
		{"a confirmation is somebody's record", "customer_confirmation_recorded_by_check", nil, `update customer_confirmation set recorded_by = ''`},
		{"rates are versions", "rates_pkey", nil, `insert into rates values (FIRM, 2, '{}', 'test', now())`},
		{"the first rates are the firm's own row", "rates_version_check", nil, `insert into rates values (FIRM, 1, '{}', 'test', now())`},
		{"rates are never changed", "42501", nil, `update rates set body = '{"late_per_day_pence": 0}'`},
		{"distances are a list", "travel_matrix_legs_check", nil, `insert into travel_matrix values (FIRM, 2, '{}', 'test', now())`},
		{"a pin has a word why", "pin_why_check", nil, `insert into pin values (FIRM, #pin2, #job, 'roof_work', 'on', NULL, NULL, '2026-02-03', NULL, '', 'test', now())`},
		{"a pin is of a known kind", "pin_kind_known", nil, `insert into pin values (FIRM, #pin2, #job, 'roof_work', 'never', NULL, NULL, NULL, NULL, 'x', 'test', now())`},
		{"a start has its half-day", "pin_has_its_day", nil, `insert into pin values (FIRM, #pin2, #job, 'roof_work', 'start', NULL, NULL, '2026-02-03', NULL, 'x', 'test', now())`},
		{"a crew's pin has no day", "pin_has_its_day", nil, `insert into pin values (FIRM, #pin2, #job, 'roof_work', 'by', #crew, NULL, '2026-02-03', NULL, 'x', 'test', now())`},
		{"a crew's pin has its crew", "pin_has_its_who", nil, `insert into pin values (FIRM, #pin2, #job, 'roof_work', 'by', NULL, NULL, NULL, NULL, 'x', 'test', now())`},
		{"roof work is pinned to no scaffold firm", "pin_has_its_who", nil, `insert into pin values (FIRM, #pin2, #job, 'roof_work', 'by', NULL, #scaffolder, NULL, NULL, 'x', 'test', now())`},
		{"a scaffold firm is pinned to its work", "", nil, `insert into pin values (FIRM, #pin2, #job, 'scaffold_erection', 'not_by', NULL, #scaffolder, NULL, NULL, 'x', 'test', now())`},
		{"a whole job has no stage", "pin_has_its_stage", nil, `insert into pin values (FIRM, #pin2, #job, 'roof_work', 'left_out', NULL, NULL, NULL, NULL, 'x', 'test', now())`},
		{"a day's pin has a stage", "pin_has_its_stage", nil, `insert into pin values (FIRM, #pin2, #job, NULL, 'on', NULL, NULL, '2026-02-03', NULL, 'x', 'test', now())`},
		{"a whole job may wait", "", nil, `insert into pin values (FIRM, #pin2, #job, NULL, 'not_before', NULL, NULL, '2026-02-03', NULL, 'x', 'test', now())`},
		{"a pin is never changed", "42501", nil, `update pin set why = 'other'`},
		{"a pin is removed once", "pin_removal_pkey", nil, `insert into pin_removal values (FIRM, #pin, '', 'test', now())`},

		{"whoever stopped the work does not lift the stop", "stop_work_lifted_by_another",
			[]string{`insert into stop_work values (FIRM, #stop2, #job, 'rain', #lead, now())`},
			`insert into stop_work_lift values (FIRM, #stop2, #lead, 'I think it is fine', now())`},
		{"another lifts it", "", []string{`insert into stop_work values (FIRM, #stop2, #job, 'rain', #lead, now())`},
			`insert into stop_work_lift values (FIRM, #stop2, #member, 'dry now', now())`},
		{"a stop is lifted once", "stop_work_lift_pkey", nil, `insert into stop_work_lift values (FIRM, #stop, #member, 'again', now())`},

		{"a done stage has its day", "stage_check", nil, `update stage set state = 'done'`},
		{"a started stage has its day", "stage_check1", nil, `update stage set state = 'started'`},
		{"a stage is not done before it is started", "stage_check2", nil, `update stage set state = 'done', started_on = '2026-03-02', done_on = '2026-03-01'`},
		{"a stage's state is a known one", "stage_state_check", nil, `update stage set state = 'nearly'`},
		{"a granted consent has its day", "consent_check", nil, `update consent set state = 'granted'`},
		{"a consent belongs to a stage of the job", "consent_firm_id_job_id_stage_kind_fkey", nil, `update consent set stage_kind = 'commissioning'`},
		{"a job's reference is its own", "job_firm_id_ref_key", []string{secondJob}, `update job set ref = 'J1' where ref = 'J2'`},
		{"a job has a site of this firm", "job_firm_id_site_id_fkey", nil, `update job set site_id = #nowhere`},
		{"a competence does not end before it begins", "competence_check", nil, `update competence set valid_to = '2025-12-31'`},
		{"a decision is clear or not, nothing else", "decision_verdict_check", nil,
			`insert into decision values (FIRM, #decision2, #crew, #job, '2026-02-03', 'unknown', '[]', '{}', sha256(''), now())`},
		{"an unknown terrain is refused", "site_terrain_check", nil, `update site set terrain = 'V'`},
		{"a password is kept as an argon2id hash", "login_password_hash_check", nil, `update login set password_hash = 'secret'`},
		{"an e-mail is kept in small letters", "login_email_check", nil, `update login set email = 'Same@example.com'`},

		{"a sign-off cannot be changed by the service", "42501", nil, `update sign_off set typed_name = 'Somebody else'`},
		{"a sign-off cannot be removed by the service", "42501", nil, `delete from sign_off`},
		{"a decision cannot be changed by the service", "42501", nil, `update decision set verdict = 'clear'`},
	} {
		t.Run(c.rule, func(t *testing.T) {
			err := asFirm(t, app, firm, func(tx pgx.Tx) error {
				for _, statement := range c.scene {
					if _, err := tx.Exec(t.Context(), forFirm(statement, firm)); err != nil {
						t.Fatalf("the scene: %s: %v", statement, err)
					}
				}
				tag, err := tx.Exec(t.Context(), forFirm(c.attempts, firm))
				if err == nil && tag.RowsAffected() == 0 {
					t.Error("the attempt touched no row, so it shows nothing")
				}
				return err
			})
			if got := constraintOf(err); got != c.refuses {
				t.Errorf("refused by %q (%v), want %q", got, err, c.refuses)
			}
		})
	}
}

// constraintOf names what refused: the constraint, else the SQLSTATE.
func constraintOf(err error) string {
	var pg *pgconn.PgError
	switch {
	case err == nil:
		return ""
	case !errors.As(err, &pg):
		return err.Error()
	case pg.ConstraintName != "":
		return pg.ConstraintName
	}
	return pg.Code
}

// Records are kept even from the owner, who has every right.
func TestRecordsAreKeptFromTheOwnerToo(t *testing.T) {
	t.Parallel()
	owner, _, _, _ := twoFirms(t)
	for _, table := range []string{
		"limits", "weather_services", "rates", "travel_matrix", "pin", "pin_removal", "forecast", "visit", "booking_version", "risk_assessment", "assessment_approval", "scaffold_report",
		"scaffold_event", "briefing", "sky_report", "sign_off", "stop_work", "stop_work_lift", "decision",
		"firm_hazards", "photo", "site_hazard", "site_hazard_removal", "survey_answer", "scaffold_handover", "scaffold_remedy", "scaffold_report_delivery",
		"module_clearance", "head_recipient", "induction", "check_in", "lone_call",
	} {
		for _, statement := range []string{"update " + table + " set firm_id = firm_id", "delete from " + table} {
			if _, err := owner.Exec(t.Context(), statement); constraintOf(err) != "record_is_kept" {
				t.Errorf("%s: %v, want record_is_kept", statement, err)
			}
		}
	}
}
