DROP TABLE weather_series;
DROP TABLE handbook_override;
