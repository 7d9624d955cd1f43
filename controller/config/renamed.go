package config

// renamed holds for each key that once had another name the one it has now. The old
// one is refused with the new one named: two names for one setting would be two ways
// to be wrong about it.
var renamed = map[string]string{
	"history":       "storage",
	"arm_again":     "rearm_after_restart",
	"decide_every":  "control_period",
	"smallest_dose": "min_dose",
	"cap_per_dose":  "dose_cap",
	"cap_per_hour":  "hourly_cap",
	"cap_per_day":   "daily_cap",
	"group":         "compatibility",
	"least":         "min_volume",
	"greatest":      "max_volume",
	"lag":           "time_constant",
	"coldest":       "min_temperature",
	"warmest":       "max_temperature",
	"lowest":        "min",
	"highest":       "max",
	"advise_low":    "advised_min",
	"advise_high":   "advised_max",
	"ammonium_most": "max_ammonium",
	"low":           "min",
	"high":          "max",
}
