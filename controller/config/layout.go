package config

// layout is the file as it is written: the one description from which the keys
// are checked, the hints are made and the JSON Schema for editors is generated.
// Stated tells a table that stands in the file from one that was left out.
type layout struct {
	Station stationTable `toml:"station" doc:"the row of stocks with its acid, base and pumps"`
	Broker  brokerTable  `toml:"broker" doc:"the MQTT broker"`
	Cluster clusterTable `toml:"cluster" doc:"servers that keep the ledger for several daemons, of which one at a time owns the station; default the state folder keeps it for this one alone"`
	Page    pageTable    `toml:"page" doc:"the page for the phone"`
	Metrics metricsTable `toml:"metrics" doc:"what the monitoring reads"`
	Notify  notifyTable  `toml:"notify" doc:"who is told of an alarm by the daemon itself, without a Prometheus"`
	Storage storageTable `toml:"storage" doc:"all that is kept on disk: ledger, readings, people"`
	Log     logTable     `toml:"log" doc:"the daemon's own log"`
	Nodes   []nodeTable  `toml:"node" doc:"a controller that drives pumps"`
	Pumps   []pumpTable  `toml:"pump" doc:"a pump with the container it draws from"`
	Tanks   []tankTable  `toml:"tank" doc:"a tank whose water is kept"`
}

type stationTable struct {
	Stated            bool
	Name              string             `toml:"name" doc:"name in topics, such as row; default station"`
	TimeZone          string             `toml:"time_zone" doc:"IANA name of the zone for schedules, such as Europe/Lisbon; default UTC"`
	RearmAfterRestart bool               `toml:"rearm_after_restart" doc:"true: tanks that were armed before a restart are armed again after their wait; default false: a person arms them"`
	ControlPeriod     span               `toml:"control_period" doc:"time from one decision to the next; default 10s"`
	StartSettling     span               `toml:"start_settling" doc:"nothing is dosed for this long after a start; default one mixing time of the slowest tank"`
	StockWarn         span               `toml:"container_warn" doc:"how long before a container is empty at the demand of the last days a person is told; default 72h"`
	LineVolume        measured[doseKind] `toml:"line_volume" doc:"what the shared line holds between manifold and outlet; default 0.1 L where several tanks share a pump"`
	Stop              inputTable         `toml:"stop" doc:"contact of the hard-wired emergency stop, 1 = pressed"`
	DripTray          inputTable         `toml:"drip_tray" doc:"wet sensor under the containers, 1 = wet"`
}

type brokerTable struct {
	Stated          bool
	URL             string `toml:"url" doc:"mqtt://host:1883 or mqtts://host:8883; default mqtt://127.0.0.1:1883"`
	ClientID        string `toml:"client_id" doc:"default leat- and the station's name"`
	Prefix          string `toml:"prefix" doc:"first level of every topic; default leat"`
	Discovery       string `toml:"discovery" doc:"first level of the topics at which home-automation hubs look for devices, such as homeassistant; default none, and nothing is announced"`
	User            string `toml:"user" doc:"name at the broker; default none"`
	PasswordFile    string `toml:"password_file" doc:"file that holds the password, not readable by every account"`
	PasswordEnv     string `toml:"password_env" doc:"name of the environment variable that holds the password"`
	Credential      string `toml:"password_credential" doc:"name of the systemd credential that holds the password"`
	CAFile          string `toml:"ca_file" doc:"certificates that vouch for the broker (PEM); default the system's"`
	CertificateFile string `toml:"certificate_file" doc:"the daemon's own certificate (PEM), where the broker asks for one"`
	KeyFile         string `toml:"key_file" doc:"key of certificate_file (PEM), not readable by every account"`
}

type clusterTable struct {
	Stated          bool
	Servers         []string `toml:"servers" need:"yes" doc:"ledger servers (NATS with JetStream): nats://host:4222 or tls://host:4222, one, three or five; of three or more, three keep each row"`
	Name            string   `toml:"name" need:"yes" doc:"this daemon's own name, such as barn; no two have the same"`
	User            string   `toml:"user" doc:"name at the ledger servers; default none"`
	PasswordFile    string   `toml:"password_file" doc:"file that holds the password, not readable by every account"`
	PasswordEnv     string   `toml:"password_env" doc:"name of the environment variable that holds the password"`
	Credential      string   `toml:"password_credential" doc:"name of the systemd credential that holds the password"`
	CAFile          string   `toml:"ca_file" doc:"certificates that vouch for the servers (PEM); default the system's"`
	CertificateFile string   `toml:"certificate_file" doc:"the daemon's own certificate (PEM), where the servers ask for one"`
	KeyFile         string   `toml:"key_file" doc:"key of certificate_file (PEM), not readable by every account"`
}

type pageTable struct {
	Stated          bool
	Listen          string `toml:"listen" doc:"address and port; default 127.0.0.1:8470"`
	CertificateFile string `toml:"certificate_file" doc:"certificate for HTTPS (PEM)"`
	KeyFile         string `toml:"key_file" doc:"key of certificate_file (PEM), not readable by every account"`
	BehindProxy     bool   `toml:"behind_proxy" doc:"true: a proxy on this machine speaks HTTPS for the page"`
	Off             bool   `toml:"off" doc:"true: no page"`
	Units           string `toml:"units" doc:"units on the page: metric, or us for °F and US gallons beside °C and litres"`
	ECScale         string `toml:"ec_scale" doc:"EC on the page also as CF, ppm 500 or ppm 700, beside mS/cm"`
}

type metricsTable struct {
	Stated bool
	Listen string `toml:"listen" doc:"address and port of /metrics, /healthz, /readyz; default the page's own"`
}

type notifyTable struct {
	Stated  bool
	Page    string       `toml:"page" doc:"where the phone that is told finds the page, such as https://leat.farm.invalid; without it what is told has no link to acknowledge"`
	Webhook webhookTable `toml:"webhook" doc:"a service that each alarm is posted to, signed"`
	Mail    mailTable    `toml:"mail" doc:"people who get a mail for each alarm"`
}

type webhookTable struct {
	Stated     bool
	URL        string `toml:"url" need:"yes" doc:"https address that takes a POST of JSON; http only on this machine"`
	SecretFile string `toml:"secret_file" doc:"file that holds the secret by which each message is signed, at least 16 characters, not readable by every account"`
	SecretEnv  string `toml:"secret_env" doc:"name of the environment variable that holds the secret"`
	Credential string `toml:"secret_credential" doc:"name of the systemd credential that holds the secret"`
	CAFile     string `toml:"ca_file" doc:"certificates that vouch for the service (PEM); default the system's"`
}

type mailTable struct {
	Stated       bool
	Server       string   `toml:"server" need:"yes" doc:"host:port of the mail server: 465 speaks TLS from the first byte, another port must offer STARTTLS"`
	User         string   `toml:"user" doc:"name at the mail server; default none"`
	PasswordFile string   `toml:"password_file" doc:"file that holds the password, not readable by every account"`
	PasswordEnv  string   `toml:"password_env" doc:"name of the environment variable that holds the password"`
	Credential   string   `toml:"password_credential" doc:"name of the systemd credential that holds the password"`
	From         string   `toml:"from" need:"yes" doc:"address of the sender, such as leat@farm.invalid"`
	To           []string `toml:"to" need:"yes" doc:"addresses of those who are told"`
	CAFile       string   `toml:"ca_file" doc:"certificates that vouch for the mail server (PEM); default the system's"`
}

type storageTable struct {
	Stated bool
	Folder string `toml:"folder" doc:"folder of all stored data; default the service's state folder, else leat-state beside this file"`
}

type logTable struct {
	Stated bool
	Level  string `toml:"level" doc:"debug, info, warn or error; default info"`
}

type nodeTable struct {
	Stated   bool
	Name     string `toml:"name" need:"yes" doc:"name in topics, such as dosing-a"`
	Contract string `toml:"contract" doc:"full: acknowledges, reports, de-duplicates, judges expiry, obeys the lease; timed: only takes a bounded run time, gets half the caps; default full"`
	Watchdog span   `toml:"watchdog" doc:"hardware watchdog that resets the node with its pumps off; default 10s"`
}

type pumpTable struct {
	Stated        bool
	Name          string                        `toml:"name" need:"yes" doc:"name in topics, such as acid or calcium"`
	Role          string                        `toml:"role" need:"yes" doc:"acid, base or stock; or water: a valve that lets source water into one tank, whose levels top_up states"`
	Reagent       string                        `toml:"reagent" doc:"what stands in the container; for acid and base one of: nitric acid, phosphoric acid, sulfuric acid, potassium hydroxide, sodium hydroxide, potassium carbonate, potassium bicarbonate; another needs its strength in meq/mL"`
	Strength      strength                      `toml:"strength" doc:"of an acid or base: mass percent, mol/L or meq/mL"`
	Density       measured[densityKind]         `toml:"density" doc:"of an acid or base in mass percent; default from the table of densities at 20 °C"`
	Dilution      dilution                      `toml:"dilution" doc:"how far the labelled acid or base has been diluted: 1:10 is one litre made up to ten, 1+9 one litre and nine of water"`
	Salts         map[string]measured[saltKind] `toml:"salts" doc:"of a stock: each salt and its mass in a litre of stock"`
	ECGain        measured[gainKind]            `toml:"ec_gain" doc:"what 1 mL in 1 L of tank water does to EC; default from salts or strength"`
	Rate          measured[rateKind]            `toml:"rate" need:"yes" doc:"delivered per time, measured at its working pressure"`
	MinDose       measured[doseKind]            `toml:"min_dose" doc:"smallest dose it repeats well; default what it delivers in 0.3 s"`
	OnTime        span                          `toml:"on_time_limit" doc:"longest run of one order; the node's own limit must be at least as long; default derived so that a node that hangs does no harm, at most 60s"`
	NodeMax       span                          `toml:"node_max_on_time" doc:"what this pump's longest run is set to at its node; a configuration that needs a longer one is refused. Default: not known, and a reload that needs longer runs than before is refused"`
	DoseCap       measured[doseKind]            `toml:"dose_cap" doc:"default worth 0.10 pH or 0.10 mS/cm in its largest tank"`
	HourlyCap     measured[doseKind]            `toml:"hourly_cap" doc:"default derived from volume, buffer capacity and worst demand"`
	DailyCap      measured[doseKind]            `toml:"daily_cap" doc:"default derived from volume, buffer capacity and worst demand"`
	Compatibility string                        `toml:"compatibility" doc:"which concentrates must not meet: neutral, calcium, sulfate-phosphate, silicate, acid, base, chelate; default from the salts"`
	Share         measured[percentKind]         `toml:"share" doc:"of the blend by volume, stocks only, where the tanks have no recipe; default equal shares"`
	Chelate       string                        `toml:"chelate" doc:"iron chelate in this stock: EDTA, DTPA or EDDHA; bounds the recommended pH"`
	Container     measured[doseKind]            `toml:"container" doc:"what a full container holds"`
	Node          string                        `toml:"node" doc:"node that drives it; default the only node"`
	Channel       string                        `toml:"channel" doc:"output of the node, for your wiring list; two pumps cannot share one"`
	Tanks         []string                      `toml:"tanks" doc:"tanks it can dose into; default all of the station"`
	Level         inputTable                    `toml:"level" doc:"level of the container in litres"`
	OrderTopic    string                        `toml:"order_topic" doc:"default prefix/<station>/order/<pump>"`
	Report        string                        `toml:"report_topic" doc:"default prefix/<station>/report/<pump>"`
}

type tankTable struct {
	Stated         bool
	Name           string                `toml:"name" need:"yes" doc:"name in topics, such as north"`
	Volume         measured[waterKind]   `toml:"volume" need:"yes" doc:"water in circulation at the working level"`
	MinVolume      measured[waterKind]   `toml:"min_volume" doc:"no dose below this volume, floods out; default nine tenths of the volume less the floods"`
	MaxVolume      measured[waterKind]   `toml:"max_volume" doc:"no dose above this volume; default 1.1 times the volume"`
	DeadTime       span                  `toml:"dead_time" doc:"dose to first response, as measured; default 60s"`
	TimeConstant   span                  `toml:"time_constant" doc:"of mixing: from the first response to 63 % of it, as measured; default 120s"`
	Buffer         measured[bufferKind]  `toml:"buffer" doc:"buffer capacity at the setpoint as measured; default computed from the expected solution"`
	BufferDoubt    measured[percentKind] `toml:"buffer_uncertainty" doc:"one standard uncertainty of that measurement, 5 % to 50 %; leave it out where nobody measured: it may then be a third or three times"`
	MinTemperature measured[celsiusKind] `toml:"min_temperature" doc:"no dose below this water temperature; default 8 °C"`
	MaxTemperature measured[celsiusKind] `toml:"max_temperature" doc:"no dose above this water temperature; default 34 °C"`

	QuickShare measured[percentKind] `toml:"quick_share" doc:"share of the volume that answers within a mixing time, as measured; default all but the zones that exchange their water more slowly"`
	Exchange   span                  `toml:"exchange_time" doc:"time in which the rest, the slow water, is exchanged once; default from the zones, else 90min"`

	PH        phSetpointTable `toml:"ph_setpoint" doc:"the wanted pH and its bounds"`
	EC        ecSetpointTable `toml:"ec_setpoint" doc:"the wanted EC and its bounds"`
	Solution  solutionTable   `toml:"solution" doc:"weak acids expected in the solution; they set its buffer capacity"`
	Recipe    recipeTable     `toml:"recipe" doc:"what the tank is to hold: its stocks are then shared by it, in place of by hand"`
	TopUp     topUpTable      `toml:"top_up" doc:"the water that replaces what is used"`
	Demand    demandTable     `toml:"demand" doc:"the worst that plants and air do to the water, for sizing"`
	Input     inputsTable     `toml:"input" doc:"probes and switches, each a topic or not_fitted with a reason"`
	Stages    []stageTable    `toml:"stage" doc:"a stage of the crop with its setpoints, from its date on until the next"`
	Holidays  []holidayTable  `toml:"holiday" doc:"a time with setpoints of its own, whose end a person confirms"`
	DayBegins string          `toml:"day_begins" doc:"when the day begins, such as 06:00, where a stage has setpoints of its own for the night"`
	DayEnds   string          `toml:"day_ends" doc:"when the night begins, such as 22:00"`

	PlantArea measured[areaKind] `toml:"plant_area" doc:"area of plants that the tank waters; the daily water balance is then told by area too"`

	Line lineTable `toml:"line" doc:"oxygen, filter and UV lamp around the tank: watched, never dosed on"`

	Zones []zoneTable `toml:"zone" doc:"a flood, film or raft zone watered from the tank"`

	GasExchange measured[gasKind] `toml:"gas_exchange" doc:"how fast CO2 passes between the tank's own water and the room, for the rehearsal; default 0.35 /h (calm: 0.2 to 0.6)"`
}

type phSetpointTable struct {
	Stated     bool
	Value      ph                   `toml:"value" doc:"default 5.8"`
	Min        ph                   `toml:"min" doc:"refused below; default 5.0"`
	Max        ph                   `toml:"max" doc:"refused above; default 7.0"`
	AdvisedMin ph                   `toml:"advised_min" doc:"asks twice below; default 5.5"`
	AdvisedMax ph                   `toml:"advised_max" doc:"asks twice above; default 6.3"`
	Confirm    ph                   `toml:"confirm_step" doc:"larger steps ask twice; default 0.3"`
	Ramp       measured[phRampKind] `toml:"ramp" doc:"fastest change; default 0.3 pH/h"`
}

type ecSetpointTable struct {
	Stated     bool
	Value      measured[ecKind]     `toml:"value" doc:"default 1.6 mS/cm"`
	Min        measured[ecKind]     `toml:"min" doc:"refused below; default 0.3 mS/cm"`
	Max        measured[ecKind]     `toml:"max" doc:"refused above; default 4.0 mS/cm"`
	AdvisedMin measured[ecKind]     `toml:"advised_min" doc:"asks twice below; default 0.8 mS/cm"`
	AdvisedMax measured[ecKind]     `toml:"advised_max" doc:"asks twice above; default 2.8 mS/cm"`
	Confirm    measured[ecKind]     `toml:"confirm_step" doc:"larger steps ask twice; default 0.4 mS/cm"`
	Ramp       measured[ecFluxKind] `toml:"ramp" doc:"fastest change upward; default 0.3 mS/cm/h"`
}

type recipeTable struct {
	Stated      bool
	Name        string                `toml:"name" doc:"recipe that is known by name: hoagland-1, hoagland-2, steiner, lettuce, strawberry; leat blend list tells them"`
	Elements    map[string]substance  `toml:"elements" doc:"your own recipe in place of a name: each element or ion and how much of it, scaled to the EC setpoint"`
	Water       map[string]substance  `toml:"water" doc:"analysis of the source water: Ca, Mg, Na, Cl, S, HCO3, pH; default from top_up.alkalinity"`
	MaxAmmonium measured[percentKind] `toml:"max_ammonium" doc:"max share of ammonium in the nitrogen that is given; default 10 %, at most 15 %"`
}

type solutionTable struct {
	Stated    bool
	Phosphate measured[amountKind] `toml:"phosphate" doc:"total phosphorus; default from the stocks, else 0.5 mmol/L"`
	Carbonate measured[amountKind] `toml:"carbonate" doc:"total inorganic carbon; default 0.1 mmol/L"`
	Ammonium  measured[amountKind] `toml:"ammonium" doc:"total ammonia; default from the stocks, else none"`
}

type topUpTable struct {
	Stated     bool
	Alkalinity measured[alkalineKind] `toml:"alkalinity" doc:"default 3 meq/L"`
	EC         measured[ecKind]       `toml:"ec" doc:"default 0.1 mS/cm per meq/L of alkalinity"`
	Low        measured[waterKind]    `toml:"low" doc:"where a pump of role water fills the tank: the level below which it begins"`
	High       measured[waterKind]    `toml:"high" doc:"the level at which it ends"`
	Overflow   measured[waterKind]    `toml:"overflow" doc:"the level at which the tank runs over, as measured"`
}

type demandTable struct {
	Stated bool
	Rise   measured[fluxKind]     `toml:"rise" doc:"how fast plants raise pH at worst, as base; default 0.1 meq/L/h"`
	Fall   measured[fluxKind]     `toml:"fall" doc:"how fast plants lower pH at worst, as acid; default 0.03 meq/L/h"`
	Uptake measured[ecFluxKind]   `toml:"uptake" doc:"how fast plants take up nutrients at worst; default 0.03 mS/cm/h"`
	Water  measured[waterUseKind] `toml:"water" doc:"water used and topped up at worst; default 2 %/h"`
}

type inputsTable struct {
	Stated       bool
	PH           inputTable `toml:"ph" doc:"pH probe"`
	PH2          inputTable `toml:"ph_2" doc:"second pH probe"`
	EC           inputTable `toml:"ec" doc:"EC probe"`
	EC2          inputTable `toml:"ec_2" doc:"second EC probe"`
	Temperature  inputTable `toml:"temperature" doc:"water temperature"`
	Temperature2 inputTable `toml:"temperature_2" doc:"second temperature probe"`
	Level        inputTable `toml:"level" doc:"litres in the tank"`
	Circulation  inputTable `toml:"circulation" doc:"1 = water moves past probes and injection point"`
	Leak         inputTable `toml:"leak" doc:"1 = water where none should be"`
	TopUp        inputTable `toml:"top_up" doc:"1 = top-up valve open"`
	Flood        inputTable `toml:"flood" doc:"1 = a flood zone fills, stands or drains"`
	Outlet       inputTable `toml:"outlet" doc:"1 = outlet valve into this tank proved open"`
	SampleFlow   inputTable `toml:"sample_flow" doc:"1 = water flows in the probes' sample line"`
	Light        inputTable `toml:"light" doc:"1 = the plants' lamps burn, as their own controller says: it tells day from night in place of day_begins and day_ends, which hold until it has switched once"`
	Redox        inputTable `toml:"redox" doc:"redox probe, mV"`

	Oxygen          inputTable `toml:"oxygen" doc:"dissolved oxygen, mg/L; watched, like the following"`
	FilterPressure  inputTable `toml:"filter_pressure" doc:"pressure lost across the filter, kPa"`
	LineFlow        inputTable `toml:"line_flow" doc:"flow through filter and UV lamp, L/min"`
	UVIntensity     inputTable `toml:"uv_intensity" doc:"UV intensity at the lamp's sleeve, mW/cm²; of a sensor in per cent state what one per cent is worth, such as unit = \"0.25 mW/cm²\""`
	LampHours       inputTable `toml:"lamp_hours" doc:"hours that the UV lamp has burnt"`
	UVTransmittance inputTable `toml:"uv_transmittance" doc:"UV that passes 1 cm of the water, %"`
}

type inputTable struct {
	Stated       bool
	Topic        string                  `toml:"topic" doc:"default prefix/<tank>/reading/<input>"`
	Format       string                  `toml:"format" doc:"plain (the number alone), json or senml; default plain"`
	Pointer      string                  `toml:"pointer" doc:"RFC 6901 pointer to the value in a JSON payload, such as /value"`
	Record       string                  `toml:"record" doc:"resolved name of the SenML record; default the only one"`
	Sequence     string                  `toml:"sequence" doc:"RFC 6901 pointer to a counter that rises with each sample, in a JSON payload"`
	Time         string                  `toml:"time" doc:"RFC 6901 pointer to the sender's time in a JSON payload"`
	Unit         string                  `toml:"unit" doc:"unit of the payload where it does not state one; default mS/cm, °C, L, mV"`
	On           []string                `toml:"on" doc:"words of a switch that mean 1, beside 1, true, on"`
	Off          []string                `toml:"off" doc:"words of a switch that mean 0, beside 0, false, off"`
	Compensation string                  `toml:"compensation" doc:"how the probe compensates temperature. EC: none, linear 2.0 %/K (any coefficient), ISO 7888, or measured 2.4 %/K where it sends the raw value and its rise per kelvin was measured in this tank; pH: none or Nernst"`
	Calibrate    span                    `toml:"calibrate_every" doc:"of a pH or EC probe: after how long the next calibration is due; default 672h, of EC 2160h"`
	NotFitted    string                  `toml:"not_fitted" doc:"why there is none"`
	Every        span                    `toml:"every" doc:"how often it is sent; default 5s"`
	Noise        measured[inputUnitKind] `toml:"noise" doc:"standard deviation over ten quiet minutes; default not measured"`
	Resolution   measured[inputUnitKind] `toml:"resolution" doc:"smallest step; default 0.01 pH, 0.01 mS/cm, 0.1 °C, 1 L, 1 mV"`
	Min          measured[inputUnitKind] `toml:"min" doc:"implausible below; default by quantity"`
	Max          measured[inputUnitKind] `toml:"max" doc:"implausible above; default by quantity"`
}

type stageTable struct {
	Stated  bool
	Name    string           `toml:"name" need:"yes" doc:"name of the stage, such as rooting"`
	From    string           `toml:"from" need:"yes" doc:"its first day in the station's zone, 2031-03-04, or day and time, 2031-03-04T06:00"`
	PH      ph               `toml:"ph" doc:"setpoint by day; default that of the stage before, else the tank's"`
	EC      measured[ecKind] `toml:"ec" doc:"setpoint by day; default that of the stage before, else the tank's"`
	NightPH ph               `toml:"night_ph" doc:"setpoint by night; default as by day"`
	NightEC measured[ecKind] `toml:"night_ec" doc:"setpoint by night; default as by day"`
	Recipe  stageRecipeTable `toml:"recipe" doc:"what the tank is to hold from this stage on; default as in the stage before, else the tank's recipe"`
	Zones   []stageZoneTable `toml:"zone" doc:"zones that leat runs otherwise from this stage on"`
	Over    span             `toml:"over" doc:"time in which the setpoints move evenly from those of the stage before, such as 168h; default at once, along the ramp of the setpoint"`
}

type holidayTable struct {
	Stated bool
	Name   string           `toml:"name" need:"yes" doc:"name of the holiday"`
	From   string           `toml:"from" need:"yes" doc:"its first day in the station's zone, 2031-12-24, or day and time"`
	To     string           `toml:"to" need:"yes" doc:"the day of the return, or day and time: its setpoints stay until a person confirms the end with leat act end-holiday"`
	PH     ph               `toml:"ph" doc:"setpoint; default that of the stage"`
	EC     measured[ecKind] `toml:"ec" doc:"setpoint; default that of the stage"`
}

// wateringTable is how leat runs a zone.
type wateringTable struct {
	Stated  bool
	ByDay   measured[timesKind] `toml:"by_day" doc:"runs by day, evenly; without day_begins and day_ends, and without a light input, in 24 hours"`
	ByNight measured[timesKind] `toml:"by_night" doc:"runs by night, evenly; default none"`
	Length  span                `toml:"length" doc:"of one run: of a flood, from the first water until its pump stops"`
	Always  bool                `toml:"always" doc:"true: it runs all the time"`
}

// stageRecipeTable is a recipe on the tank's source water.
type stageRecipeTable struct {
	Stated   bool
	Name     string               `toml:"name" doc:"recipe that is known by name"`
	Elements map[string]substance `toml:"elements" doc:"your own recipe in place of a name"`
}

type stageZoneTable struct {
	Stated bool
	Zone   string        `toml:"zone" need:"yes" doc:"name of the zone"`
	Own    wateringTable `toml:"run" doc:"how leat runs it from this stage on"`
}

type zoneTable struct {
	Stated bool
	Name   string              `toml:"name" need:"yes" doc:"name of the zone"`
	Kind   string              `toml:"kind" need:"yes" doc:"flood (a bench fills and drains), film (a thin stream in channels) or raft (rafts on a pond)"`
	Holds  measured[waterKind] `toml:"holds" need:"yes" doc:"water it holds when in use"`

	Exchange span               `toml:"exchange_time" doc:"time in which film or raft water is exchanged with the tank's once: what the zone holds divided by the flow through it; default film 2min, raft 90min. Longer than two mixing times of the tank, it is slow water"`
	Flow     inputTable         `toml:"flow" doc:"flow into a film or raft zone, L/min; watched"`
	Level    inputTable         `toml:"level" doc:"water that stands in the zone, L; watched"`
	MinFlow  measured[flowKind] `toml:"min_flow" doc:"a film has stopped below; default 0.3 of what it holds per exchange_time"`
	Pause    span               `toml:"longest_pause" doc:"of a film in normal running; default 2min"`
	Flood    span               `toml:"longest_flood" doc:"from the first water to the empty bench in normal running; default 30min"`
	Own      wateringTable      `toml:"run" doc:"how leat runs it, by a node of the zone; default its own controller does"`
	Roots    span               `toml:"roots_last" doc:"how long roots bear a film that stopped or a bench that stays full, from its beginning; default 30min beyond the longest pause or flood"`

	GasExchange measured[gasKind] `toml:"gas_exchange" doc:"the same of the zone's water while it is wet; default flood 0.6, film and raft 2.2 /h (film and aerated raft: 1 to 5)"`
}
