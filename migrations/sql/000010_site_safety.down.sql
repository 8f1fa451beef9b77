DROP TABLE scaffold_report_delivery, scaffold_remedy, scaffold_handover, survey_answer, site_hazard_removal, site_hazard, photo, firm_hazards;
