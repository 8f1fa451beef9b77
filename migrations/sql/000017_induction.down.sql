DROP TABLE check_in, induction;
DELETE FROM competence WHERE kind = 'lone_work';
ALTER TABLE competence DROP CONSTRAINT competence_kind_check;
ALTER TABLE competence ADD CONSTRAINT competence_kind_check
  CHECK (kind IN ('lead_roof', 'roof', 'electrical', 'scaffold_inspection', 'first_aid', 'roof_rescue'));
