DROP TABLE climate;
DROP TABLE calibration;
DROP TABLE warning_answer;
