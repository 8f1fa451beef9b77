DROP INDEX forecast_newest_of;
DROP TABLE weather_services;
DROP FUNCTION each_once(text[]);
