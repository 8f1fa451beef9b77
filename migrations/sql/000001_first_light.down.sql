-- Everything the first migration made, in reverse. The role stays: other
-- databases of the same server use it.
DROP FUNCTION toeboard_firms();
DROP TABLE idempotency, decision, stop_work_lift, stop_work, sign_off, briefing, scaffold_event, scaffold_report,
  assessment_approval, risk_assessment, booking_version, booking, visit, plan, forecast, private_link, scaffold_firm,
  kit, consent, stage, job, site, customer, absence, crew_member, crew, competence, session, login, person,
  limits, holiday, firm;
DROP FUNCTION record_is_kept();
DROP FUNCTION stop_work_lifted_by_another();
DROP FUNCTION booking_sequence_never_falls();
DROP FUNCTION toeboard_firm();
DROP EXTENSION btree_gist;
