package tenant

import (
	"errors"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"

	"toeboard/weather/fault"
)

// meanings says in words what each named constraint protects. One that is not
// here still refuses; the caller then sees only that the input was refused.
var meanings = map[string]fault.Error{
	"crew_member_one_crew_at_a_time": {Kind: fault.Conflict, Field: "crew member", Want: "a person is in one crew at a time: end the other crew's dates first"},
	"crew_member_one_lead_at_a_time": {Kind: fault.Conflict, Field: "crew lead", Want: "a crew has one lead at a time"},
	"visit_crew_double_booked":       {Kind: fault.Conflict, Field: "crew", Want: "the crew already has a visit in that half-day"},
	"booking_overlaps_on_job":        {Kind: fault.Conflict, Field: "booking", Want: "the job already has a scaffold standing on those days"},
	"booking_sequence_never_falls":   {Kind: fault.Conflict, Field: "booking", Want: "a newer change of this booking is already recorded: look again"},
	"booking_begins":                 {Kind: fault.Conflict, Field: "booking", Want: "a booking begins as wanted, or as a scaffold that stands"},
	"booking_life":                   {Kind: fault.Conflict, Field: "booking", Want: "this step does not follow from where the booking stands: look again"},
	"booking_version_how_known":      {Kind: fault.Invalid, Field: "how", Want: "plan, office, page, mail, feed or command"},
	"booking_token_is_long":          {Kind: fault.Invalid, Field: "token", Want: "at least 128 random bits"},
	"scaffold_firm_works_some_day":   {Kind: fault.Invalid, Field: "days off", Want: "none to four of Monday to Friday: a scaffold firm works on one of them at least"},
	"scaffold_firm_area_is_whole":    {Kind: fault.Invalid, Field: "reach", Want: "yard_lat, yard_lon and reach_km together, or none of them: it goes anywhere"},
	"scaffold_firm_area_is_on_earth": {Kind: fault.Invalid, Field: "reach", Want: "1 to 1000 km from a yard at -90 to 90 degrees north, -180 to 180 east"},
	"scaffold_firm_gust_limit":       {Kind: fault.Invalid, Field: "gust limit", Want: "1 to 40 m/s, or none"},
	"scaffold_firm_cancelling":       {Kind: fault.Invalid, Field: "cancel notice", Want: "0 to 60 working days, and a charge only with a notice"},
	"private_link_purpose_known":     {Kind: fault.Invalid, Field: "purpose", Want: "page, feed or mail"},
	"private_link_of_a_mail_ends":    {Kind: fault.Invalid, Field: "link", Want: "for a link in a mail an e-mail address and an end within 60 days"},
	"private_link_ended_for_good":    {Kind: fault.Conflict, Field: "link", Want: "it was ended, and what was ended stays so: make a new one"},
	"private_link_stays_whose_it_is": {Kind: fault.Forbidden, Field: "link", Want: "a private link stays one scaffold firm's: make a new one"},
	"firm_quiet_hours":               {Kind: fault.Invalid, Field: "quiet hours", Want: "two times of the day, from 00:00 to 23:59"},
	"message_once":                   {Kind: fault.Conflict, Field: "message", Want: "this change was told to this recipient already"},
	"message_sent_has_its_time":      {Kind: fault.Invalid, Field: "message", Want: "the time at which the mail server took it, and none before"},
	"message_waits_for_somebody":     {Kind: fault.Invalid, Field: "message", Want: "an e-mail address to send it to"},
	"handover_file_type_known":       {Kind: fault.Invalid, Field: "certificate", Want: "a PDF, a JPEG or a PNG"},
	"handover_file_size":             {Kind: fault.Invalid, Field: "certificate", Want: "a file of at most 5 MiB that is not empty"},
	"handover_file_is_what_it_was":   {Kind: fault.Invalid, Field: "certificate", Want: "the file whose hash this is"},
	"handover_file_once":             {Kind: fault.Conflict, Field: "certificate", Want: "this file is here already"},
	"booking_uid_for_life":           {Kind: fault.Invalid, Field: "booking", Want: "a booking keeps its calendar identity for life"},
	"plan_one_published":             {Kind: fault.Conflict, Field: "plan", Want: "another plan was published meanwhile: look at it and plan again"},
	"plan_replay_is_whole":           {Kind: fault.Invalid, Field: "replay", Want: "what the plan comes to over the futures, what it was chosen from, or neither"},
	"plan_run_one_at_a_time":         {Kind: fault.Conflict, Field: "plan", Want: "a plan is being made for this firm: look at that one"},
	"plan_run_has_ended":             {Kind: fault.Conflict, Field: "run", Want: "the run has ended, and what it came to stays"},
	"plan_firm_id_version_key":       {Kind: fault.Conflict, Field: "plan", Want: "another plan was saved at the same moment: try again"},
	"job_firm_id_ref_key":            {Kind: fault.Conflict, Field: "job reference", Want: "another job already has this reference"},
	"stop_work_lifted_by_another":    {Kind: fault.Forbidden, Field: "stop-work", Want: "whoever stopped the work cannot lift the stop: another, named person does"},
	"stop_work_lift_pkey":            {Kind: fault.Conflict, Field: "stop-work", Want: "this stop is already lifted"},
	"limits_pkey":                    {Kind: fault.Conflict, Field: "limits", Want: "somebody set other limits at the same moment: look at theirs and decide again"},
	"weather_services_pkey":          {Kind: fault.Conflict, Field: "weather services", Want: "somebody set others at the same moment: look at theirs and decide again"},
	"weather_services_after_start":   {Kind: fault.Invalid, Field: "version", Want: "2 or later: version 1 is what a firm starts with"},
	"weather_services_each_once":     {Kind: fault.Invalid, Field: "services", Want: "1 to 8 weather services, each once"},
	"weather_services_how_known":     {Kind: fault.Invalid, Field: "together", Want: "first, or worst with two services or more"},
	"sky_report_kind_known":          {Kind: fault.Invalid, Field: "what", Want: "thunder, lightning or gust"},
	"sky_report_has_its_gust":        {Kind: fault.Invalid, Field: "gust", Want: "a reading in m/s from 0 to under 100 with a gust, and none with thunder or lightning"},
	"sky_report_has_been":            {Kind: fault.Invalid, Field: "at", Want: "a time that has passed"},
	"round_is_done_once":             {Kind: fault.Conflict, Field: "round", Want: "this round of the day was done already"},
	"rates_pkey":                     {Kind: fault.Conflict, Field: "rates", Want: "somebody set other rates at the same moment: look at theirs and decide again"},
	"travel_matrix_pkey":             {Kind: fault.Conflict, Field: "distances", Want: "somebody set other distances at the same moment: look at theirs and decide again"},
	"pin_removal_pkey":               {Kind: fault.Conflict, Field: "pin", Want: "this pin is already removed"},
	"pin_kind_known":                 {Kind: fault.Invalid, Field: "pin", Want: "one of start, on, not_before, not_after, by, not_by, stays, left_out"},
	"pin_has_its_stage":              {Kind: fault.Invalid, Field: "stage", Want: "a stage of the job; none when the whole job stays or is left out"},
	"pin_has_its_day":                {Kind: fault.Invalid, Field: "day", Want: "a day for a pin that speaks of one, and the half-day for a start; none for any other"},
	"pin_has_its_who":                {Kind: fault.Invalid, Field: "who", Want: "a crew for a crew's stage, a scaffold firm for erection and strike; nobody for a pin that names none"},
	"job_told_a_promise":             {Kind: fault.Invalid, Field: "promise told", Want: "a promised day that the customer can have been told"},
	"held_place_crew_twice":          {Kind: fault.Conflict, Field: "offer", Want: "somebody else was told this place a moment ago: look again at what is free"},
	"firm_hazards_pkey":              {Kind: fault.Conflict, Field: "hazards", Want: "somebody set other hazards at the same moment: look at theirs and decide again"},
	"photo_is_bounded":               {Kind: fault.Invalid, Field: "file", Want: "a photo of at most 6 MB"},
	"photo_kind_known":               {Kind: fault.Invalid, Field: "file", Want: "a JPEG, PNG or WebP photo"},
	"photo_fits_its_sum":             {Kind: fault.Invalid, Field: "file", Want: "a photo with its own SHA-256"},
	"site_hazard_once":               {Kind: fault.Conflict, Field: "site hazard", Want: "somebody recorded another at the same moment: try again"},
	"site_hazard_has_its_photo":      {Kind: fault.Invalid, Field: "file", Want: "a photo and its SHA-256, or neither"},
	"site_hazard_removal_pkey":       {Kind: fault.Conflict, Field: "site hazard", Want: "this one is already taken away"},
	"scaffold_handover_lifts":        {Kind: fault.Invalid, Field: "lifts", Want: "1 to 50 lifts"},
	"scaffold_remedy_has_been":       {Kind: fault.Invalid, Field: "done at", Want: "a time that has passed"},
	"scaffold_delivery_has_been":     {Kind: fault.Invalid, Field: "delivered at", Want: "a time that has passed"},
	"scaffold_report_delivery_pkey":  {Kind: fault.Conflict, Field: "delivery", Want: "this report's delivery is already recorded"},
	"sign_off_proof_known":           {Kind: fault.Invalid, Field: "proof", Want: "a signature given with the person's own PIN"},
	"sign_off_drawing_is_strokes":    {Kind: fault.Invalid, Field: "drawing", Want: "strokes such as M10 20L12 25, at most 8000 letters"},
	"signing_pin_is_hashed":          {Kind: fault.Invalid, Field: "pin", Want: "the hash of a PIN, never the PIN itself"},
	"own_rule_is_no_law":             {Kind: fault.Forbidden, Field: "rule", Want: "only conditions that advise are the firm's own to bind: B16, B17, B18"},
	"own_rule_pkey":                  {Kind: fault.Conflict, Field: "rule", Want: "somebody set this rule at the same moment: look at theirs and decide again"},
	"rule_exception_is_from_no_law":  {Kind: fault.Forbidden, Field: "exception", Want: "nobody makes an exception from a condition of the law"},
	"rule_exception_by_the_named":    {Kind: fault.Forbidden, Field: "exception", Want: "only the person whom the firm names for this rule records an exception from it"},
	"induction_by_pin":               {Kind: fault.Invalid, Field: "proof", Want: "what the person says by their own PIN"},
	"induction_covers_something":     {Kind: fault.Invalid, Field: "covered", Want: "at least one topic that was covered"},
	"induction_has_been":             {Kind: fault.Invalid, Field: "on", Want: "a day that has come"},
	"check_in_can_be_rung":           {Kind: fault.Invalid, Field: "phone", Want: "a telephone number of 6 to 15 digits"},
	"check_in_can_be_mailed":         {Kind: fault.Invalid, Field: "email", Want: "an e-mail address, or nothing"},
	"lone_call_what_known":           {Kind: fault.Invalid, Field: "what", Want: "well or left"},
	"check_in_often_enough":          {Kind: fault.Invalid, Field: "every_min", Want: "15 to 120 minutes between two calls"},
	"job_record_kind_known":          {Kind: fault.Invalid, Field: "kind", Want: "a kind of record that the service knows"},
	"job_record_has_been":            {Kind: fault.Invalid, Field: "at", Want: "a time that has passed"},
	"isolation_of_this_job":          {Kind: fault.Invalid, Field: "permit", Want: "a permit to isolate of this job"},
	"isolation_ends_once":            {Kind: fault.Conflict, Field: "permit", Want: "this permit was ended already: what is dead now needs a new one"},
	"isolation_ends_after_it_began":  {Kind: fault.Invalid, Field: "at", Want: "a time after the permit began"},
	"module_place_cleared_on_record": {Kind: fault.Invalid, Field: "place", Want: "a record of what is taken off the drawing"},
	"head_recipient_has_both":        {Kind: fault.Invalid, Field: "heads_address", Want: "a name and an e-mail address, or neither for nobody"},
	"head_recipient_address":         {Kind: fault.Invalid, Field: "heads_address", Want: "one e-mail address, such as records@insurer.example"},
	"head_recipient_pkey":            {Kind: fault.Conflict, Field: "recipient", Want: "somebody set another at the same moment: look at theirs and decide again"},
	"module_place_serial_once":       {Kind: fault.Conflict, Field: "serial", Want: "this serial number already stands on a roof of the firm: read it again"},
	"module_place_pkey":              {Kind: fault.Conflict, Field: "place", Want: "this place on the roof is taken: take the module there away first"},
	"module_place_serial_is_one":     {Kind: fault.Invalid, Field: "serial", Want: "4 to 40 capitals, digits, dots, strokes or dashes"},
	"module_place_on_the_grid":       {Kind: fault.Invalid, Field: "place", Want: "a row from 1 to 20 and a column from 1 to 40"},
	"record_is_kept":                 {Kind: fault.Forbidden, Field: "record", Want: "records are never changed or removed: add a new one"},
	"record_entry_pkey":              {Kind: fault.Conflict, Field: "record", Want: "another record was kept at the same moment: try again"},
	"record_entry_follows":           {Kind: fault.Conflict, Field: "record", Want: "entries of the log follow each other without a gap"},
	"record_is_logged":               {Kind: fault.Internal, Field: "record", Want: "a record goes into the log in the transaction that writes it"},
	"login_firm_id_email_key":        {Kind: fault.Conflict, Field: "e-mail", Want: "another person of this firm signs in with this e-mail"},
}

// Meaning turns what Postgres refused into what it means for the person who
// asked. Errors that are not a refusal of data pass through unchanged.
func Meaning(err error) error {
	var pg *pgconn.PgError
	if err == nil || !errors.As(err, &pg) {
		return err
	}
	if known, ok := meanings[pg.ConstraintName]; ok {
		known.Err = err
		return &known
	}
	switch {
	case pg.Code == "40001" || pg.Code == "40P01":
		return &fault.Error{Kind: fault.Conflict, Want: "somebody changed the same thing at the same moment: try again", Err: err}
	case pg.Code == "53100" || pg.Code == "53200" || strings.HasPrefix(pg.Code, "57P") || strings.HasPrefix(pg.Code, "08"):
		return &fault.Error{Kind: fault.Unavailable, Want: "the database cannot save this now: nothing was saved, try again in a minute", Err: err}
	case strings.HasPrefix(pg.Code, "23"):
		return &fault.Error{Kind: fault.Invalid, Field: pg.ColumnName, Want: "the database refused it (" + pg.ConstraintName + ")", Err: err}
	}
	return err
}
