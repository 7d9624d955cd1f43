package config

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
	_ "time/tzdata" // a container from scratch has no zones of its own

	"leat/controller"
	"leat/controller/payload"
	"leat/dosing"
	"leat/dosing/blend"
	"leat/dosing/chem"
	"leat/safety/sizing"
)

// File is a configuration, whole and valid.
type File struct {
	Name     string // of the file, for messages
	Settings controller.Settings
	Broker   Broker
	Cluster  Cluster
	Web      Web
	Metrics  Metrics
	Notify   Notify
	State    string // folder of ledger and history
	Zone     *time.Location
	Topics   *payload.Topics
	// InputTopics say where each input's values arrive and how they are read, in
	// the order of Settings.Inputs; inputs that are not fitted are left out.
	InputTopics []InputTopic
	Log         string // debug, info, warn or error
	Warnings    []string

	plants      []plant
	quickStated []bool   // by tank: that quick_share stands in the file
	gasStated   [][]bool // by tank: its own rate of gas exchange, then each zone's
	liquids     []liquid
	channels    []string
	nodeMax     []time.Duration // longest run that the node of each pump is set to; 0 = not stated
	hangs       []time.Duration
	watchdogs   []time.Duration
}

// Broker is where the daemon finds its MQTT broker. Files are paths; only the
// password is held, since it may come from elsewhere.
type Broker struct {
	URL                      string
	ClientID, User, Password string
	CA, Certificate, Key     string
	Discovery                string // first level at which hubs look for devices; empty = nothing is announced
}

// Cluster is where a ledger that several daemons share is kept; without servers it is kept in
// the state folder.
type Cluster struct {
	Servers              []string
	Name                 string // of this daemon
	Replicas             int    // servers that keep each row: 1 or 3
	User, Password       string
	CA, Certificate, Key string
}

// Shared says whether several daemons share the ledger.
func (c *Cluster) Shared() bool { return len(c.Servers) > 0 }

// Web is where the page listens and how it shows EC.
type Web struct {
	Off              bool
	Listen           string
	Certificate, Key string
	BehindProxy      bool
	ECScale          dosing.ECScale
	US               bool // °F and US gallons beside °C and litres
}

// Metrics is where the monitoring reads; an empty Listen means the page's server.
type Metrics struct{ Listen string }

// Notify is who is told of an alarm. CA files are paths; secrets are held, since they may
// come from elsewhere.
type Notify struct {
	Page    string // where the phone finds the page, without a slash at its end; empty = no links
	Webhook Webhook
	Mail    Mail
}

// Webhook is a service that alarms are posted to; an empty URL means none.
type Webhook struct{ URL, Secret, CA string }

// Mail is who gets a mail; an empty Server means nobody.
type Mail struct {
	Server, User, Password, From, CA string
	To                               []string
}

// InputTopic is how one input reaches the daemon.
type InputTopic struct {
	Input        dosing.InputID
	Topic        string
	Format       payload.Format
	Compensation dosing.Compensation
}

// plant is what sizing knows of a tank beyond its settings.
type plant struct {
	curve    *chem.Curve
	buffer   float64     // β: meq/L per pH at the setpoint, as commissioned
	expected chem.Totals // the solution at its setpoints
	blendEC  float64     // mS/cm that 1 mL of blend does in 1 L
	demand   sizing.Demand
	fresh    *blend.Mix  // what the recipe makes of the source water; nil without one
	amounts  []float64   // of it, mL of each pump's liquid in a litre
	later    [][]float64 // the same of the recipes of later stages
}

// Env is what a file may refer to beyond itself. A nil function has nothing.
type Env struct {
	Folder      string                                         // relative paths start here
	Variable    func(name string) (string, bool)               // environment variables
	ReadSecret  func(path string) ([]byte, fs.FileMode, error) // a file with its permissions
	Credentials string                                         // $CREDENTIALS_DIRECTORY of the service manager
	StateFolder string                                         // $STATE_DIRECTORY of the service manager
	Several     string                                         // of several stations of a file this one's name; empty = it is alone
	Passwords   Passwords
}

// Passwords says what becomes of the passwords that a file names.
type Passwords uint8

// PasswordsUsed must all be had, as by the daemon. PasswordsChecked are looked at
// where they could be: what a service manager will give is not there yet.
// PasswordsUnused belong to the daemon, and whoever asks may not even read them.
const (
	PasswordsUsed Passwords = iota
	PasswordsChecked
	PasswordsUnused
)

// Load reads a configuration from disk for a daemon that is to connect. The error is a
// Faults where the content is to blame.
func Load(path string) (*File, error) { return load(path, PasswordsUsed) }

// Look is Load for whoever does not connect: a person at a shell, who has neither the
// service's credentials nor its variables.
func Look(path string) (*File, error) { return load(path, PasswordsUnused) }

func load(path string, passwords Passwords) (*File, error) {
	text, env, several, err := readOne(path)
	if err != nil {
		return nil, err
	}
	env.Passwords, env.Several = passwords, several
	return Parse(path, text, env)
}

func open(path string) ([]byte, Env, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, Env{}, fmt.Errorf("configuration: %w; name it with -config FILE", err)
	}
	if info.Size() > longestFile {
		return nil, Env{}, fmt.Errorf("configuration %s: %d bytes; a configuration has at most %d", path, info.Size(), longestFile)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, Env{}, fmt.Errorf("configuration: %w; name a file that may be read", err)
	}
	return text, realEnv(path), nil
}

func realEnv(path string) Env {
	return Env{
		Folder:   filepath.Dir(path),
		Variable: os.LookupEnv,
		ReadSecret: func(path string) ([]byte, fs.FileMode, error) {
			info, err := os.Stat(path)
			if err != nil {
				return nil, 0, err
			}
			if info.Size() > longestSecret {
				return nil, 0, fmt.Errorf("%d bytes are no password", info.Size())
			}
			text, err := os.ReadFile(path)
			return text, info.Mode(), err
		},
		Credentials: os.Getenv("CREDENTIALS_DIRECTORY"),
		StateFolder: os.Getenv("STATE_DIRECTORY"),
	}
}

// Parse reads a configuration from text. The error is a Faults with every fault,
// dangerous sizes included; the file is nil then.
func Parse(name string, text []byte, env Env) (*File, error) {
	f, faults := parse(name, text, env)
	if len(faults) > 0 {
		return nil, faults.sorted()
	}
	return f, nil
}

// parse returns the file also where nothing but sizes is wrong with it, so that
// a check can show the figures behind the refusal.
func parse(name string, text []byte, env Env) (*File, Faults) {
	if len(text) > longestFile {
		return nil, Faults{{File: name, Problem: fmt.Sprintf("has %d bytes", len(text)), Hint: fmt.Sprintf("a configuration has at most %d", longestFile)}}
	}
	b := newBuilder(env, name)
	b.decoder = decode(name, string(text), &b.layout)
	if b.lines == nil {
		return nil, b.faults
	}
	sum := sha256.Sum256(text)
	b.file.Settings.Version = hex.EncodeToString(sum[:6])
	b.build()
	if len(b.faults) > 0 {
		return nil, b.faults
	}
	return b.file, b.sizes.faultsOf()
}
