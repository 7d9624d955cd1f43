package desk

import (
	"cmp"
	"fmt"
	"io"
	"strings"

	"leat/controller/config"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
)

// right is what a user of the broker may do with a topic.
type right struct{ may, topic string }

// brokerUser is one user with its rights, and who that is.
type brokerUser struct {
	name, who string
	rights    []right
}

func (u *brokerUser) add(may string, topics ...string) {
	for _, topic := range topics {
		if topic != "" {
			u.rights = append(u.rights, right{may, topic})
		}
	}
}

// anyCause stands for the causes of a tank's alarms, and anyDaemon for the daemons.
const anyCause, anyDaemon = "+", "+"

// ACL writes the rights of each user of the broker for a configuration, in Mosquitto's
// format. What is not listed is refused.
func ACL(path string, stdout io.Writer) error {
	file, err := config.Look(path)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, aclHead, file.Settings.Safety.Station, path)
	for _, u := range brokerUsers(file) {
		fmt.Fprintf(stdout, "\n# %s\nuser %s\n", u.who, u.name)
		written := map[right]bool{}
		for _, r := range u.rights {
			if !written[r] {
				written[r] = true
				fmt.Fprintf(stdout, "topic %s %s\n", r.may, r.topic)
			}
		}
	}
	return nil
}

const aclHead = `# Who may do what at the broker of station %q, made by: leat acl -config %s
# What is not listed is refused. Only the daemon may give orders, stops and leases. Give each
# device a user of its own: with use_username_as_clientid two clients of one user throw one another out.
`

// reader and writer are the words of the format.
const reader, writer, both = "read", "write", "readwrite"

func brokerUsers(file *config.File) []brokerUser {
	users := []brokerUser{daemonUser(file)}
	for n := range file.Settings.Safety.Nodes {
		users = append(users, nodeUser(file, safety.NodeID(n)))
	}
	users = append(users, probeUsers(file)...)
	return append(users, peopleUsers(file)...)
}

func daemonUser(file *config.File) brokerUser {
	t, s := file.Topics, &file.Settings.Safety
	u := brokerUser{name: cmp.Or(file.Broker.User, "leat"), who: "The daemon."}
	for i := range file.InputTopics {
		u.add(reader, file.InputTopics[i].Topic)
	}
	for i := range s.Nodes {
		u.add(reader, t.Node(s.Nodes[i].Name))
	}
	for i := range s.Pumps {
		u.add(reader, t.Report(s.Pumps[i].Name))
		u.add(writer, t.Order(s.Pumps[i].Name))
	}
	u.add(both, t.Lease(), t.Owner())
	u.add(writer, t.Stop(), t.Supply(), t.Online(file.Broker.ClientID))
	for i := range s.Tanks {
		id := dosing.TankID(i)
		u.add(reader, asked(file, id)...)
		u.add(reader, t.AnalysisAsk(id), t.CalibrationAsk(id))
		u.add(writer, told(file, id)...)
		u.add(writer, answered(file, id)...)
		u.add(writer, t.AnalysisAnswer(id), t.CalibrationAnswer(id))
		for _, zone := range ranZones(file, id) {
			u.add(writer, t.ZoneSchedule(id, zone))
			u.add(reader, t.ZoneReport(id, zone))
		}
		if hubs := file.Broker.Discovery; hubs != "" {
			u.add(writer, payload.DiscoveryTopics(hubs, s.Station, s.Tanks[i].Name))
		}
	}
	return u
}

func nodeUser(file *config.File, n safety.NodeID) brokerUser {
	t, s := file.Topics, &file.Settings.Safety
	u := brokerUser{name: s.Nodes[n].Name, who: "A pump node: it hears its own pumps and speaks for itself."}
	for i := range s.Pumps {
		if s.PumpNode[i] == n {
			u.add(reader, t.Order(s.Pumps[i].Name))
			u.add(writer, t.Report(s.Pumps[i].Name))
		}
	}
	u.add(reader, t.Lease(), t.Stop(), t.Supply())
	u.add(writer, t.Node(s.Nodes[n].Name), t.NodeOnline(s.Nodes[n].Name))
	return u
}

// probeUsers are one for each tank, and one for what belongs to the station.
func probeUsers(file *config.File) (users []brokerUser) {
	s := &file.Settings.Safety
	of := map[string]int{}
	for i := range file.InputTopics {
		in := &s.Inputs[file.InputTopics[i].Input]
		name := s.Station
		if int(in.Tank) < len(s.Tanks) {
			name = s.Tanks[in.Tank].Name
		}
		at, known := of[name]
		if !known {
			at = len(users)
			of[name] = at
			users = append(users, brokerUser{name: "probes-" + name, who: "Probes and switches of " + name + ". One user for each transmitter is better: deal these lines out."})
		}
		users[at].add(writer, file.InputTopics[i].Topic)
	}
	return users
}

func peopleUsers(file *config.File) []brokerUser {
	t := file.Topics
	irrigation := brokerUser{name: "irrigation", who: "Flood, film and raft: whether the water is fit, and where leat runs them, when. One user for each node is better: deal these lines out."}
	laboratory := brokerUser{name: "laboratory", who: "Whoever enters a laboratory's analyses and calibrations: it changes what the stocks are given in."}
	phone := brokerUser{name: "phone", who: "A phone: it sees, asks for setpoints, orders nothing."}
	hub := brokerUser{name: "hub", who: "A home-automation hub: it sees and asks for setpoints, as a phone does, and orders nothing."}
	for i := range file.Settings.Safety.Tanks {
		id := dosing.TankID(i)
		irrigation.add(reader, t.Fit(id))
		for _, zone := range ranZones(file, id) {
			irrigation.add(reader, t.ZoneSchedule(id, zone))
			irrigation.add(writer, t.ZoneReport(id, zone))
		}
		laboratory.add(reader, t.Ions(id), t.AnalysisAnswer(id), t.CalibrationAnswer(id))
		laboratory.add(writer, t.AnalysisAsk(id), t.CalibrationAsk(id))
		phone.add(reader, told(file, id)...)
		phone.add(reader, answered(file, id)...)
		phone.add(reader, t.AnalysisAnswer(id))
		phone.add(writer, asked(file, id)...)
		hub.add(reader, told(file, id)...)
		hub.add(reader, answered(file, id)...)
		hub.add(writer, asked(file, id)...)
	}
	for i := range file.Settings.Safety.Nodes {
		phone.add(reader, t.NodeOnline(file.Settings.Safety.Nodes[i].Name))
	}
	for i := range file.InputTopics {
		phone.add(reader, file.InputTopics[i].Topic)
	}
	online := t.Online(anyDaemon)
	irrigation.add(reader, online)
	phone.add(reader, online)
	if file.Broker.Discovery == "" {
		return []brokerUser{irrigation, laboratory, phone}
	}
	hub.add(reader, online, file.Broker.Discovery+"/#")
	return []brokerUser{irrigation, laboratory, phone, hub}
}

// ranZones are the zones of a tank that leat runs.
func ranZones(file *config.File, id dosing.TankID) (names []string) {
	for _, z := range file.Settings.Tanks[id].Zones {
		if z.Own.Stated() {
			names = append(names, z.Name)
		}
	}
	return names
}

// told is what the daemon tells everybody of a tank.
func told(file *config.File, id dosing.TankID) []string {
	t := file.Topics
	causes := strings.TrimSuffix(t.Alarm(id, safety.CauseLeak), safety.CauseLeak.String()) + anyCause
	return []string{t.State(id), causes, t.Fit(id), t.Ions(id), t.Setpoint(id, dosing.QuantityPH), t.Setpoint(id, dosing.QuantityEC)}
}

func asked(file *config.File, id dosing.TankID) []string {
	return []string{file.Topics.Ask(id, dosing.QuantityPH), file.Topics.Ask(id, dosing.QuantityEC)}
}

func answered(file *config.File, id dosing.TankID) []string {
	return []string{file.Topics.Answer(id, dosing.QuantityPH), file.Topics.Answer(id, dosing.QuantityEC)}
}
