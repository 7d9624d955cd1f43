package app

import (
	"crypto/tls"
	"fmt"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/mqtt"
	"leat/controller/payload"
	"leat/dosing"
	"leat/safety"
)

// wires knows which topic means what: inputs by slot, everything else by name.
type wires struct {
	file    *config.File
	topics  *payload.Topics
	latest  []string // by input slot
	routes  map[string]route
	filters []string
}

// routeKind is what a queued topic carries.
type routeKind uint8

const (
	routeReport routeKind = iota + 1
	routeHeartbeat
	routeAsk
	routeAnalysis
	routeCalibration
	routeZone
	routeLease
	routeOwner
)

type route struct {
	kind     routeKind
	pump     dosing.PumpID
	node     safety.NodeID
	hearts   *payload.Heartbeats // of the node
	tank     dosing.TankID
	zone     int
	quantity dosing.Quantity
}

func newWires(file *config.File) *wires {
	w := &wires{file: file, topics: file.Topics, routes: map[string]route{}}
	for i := range file.InputTopics {
		w.latest = append(w.latest, file.InputTopics[i].Topic)
	}
	add := func(topic string, r route) {
		w.routes[topic] = r
		w.filters = append(w.filters, topic)
	}
	for i := range file.Settings.Safety.Pumps {
		add(w.topics.Report(file.Settings.Safety.Pumps[i].Name), route{kind: routeReport, pump: dosing.PumpID(i)})
	}
	for i := range file.Settings.Safety.Nodes {
		add(w.topics.Node(file.Settings.Safety.Nodes[i].Name), route{kind: routeHeartbeat, node: safety.NodeID(i), hearts: &payload.Heartbeats{}})
	}
	for i := range file.Settings.Tanks {
		for _, q := range []dosing.Quantity{dosing.QuantityPH, dosing.QuantityEC} {
			add(w.topics.Ask(dosing.TankID(i), q), route{kind: routeAsk, tank: dosing.TankID(i), quantity: q})
		}
		add(w.topics.AnalysisAsk(dosing.TankID(i)), route{kind: routeAnalysis, tank: dosing.TankID(i)})
		add(w.topics.CalibrationAsk(dosing.TankID(i)), route{kind: routeCalibration, tank: dosing.TankID(i)})
		for k := range file.Settings.Tanks[i].Zones {
			if z := &file.Settings.Tanks[i].Zones[k]; z.Own.Stated() {
				add(w.topics.ZoneReport(dosing.TankID(i), z.Name), route{kind: routeZone, tank: dosing.TankID(i), zone: k})
			}
		}
	}
	add(w.topics.Lease(), route{kind: routeLease})
	add(w.topics.Owner(), route{kind: routeOwner})
	return w
}

// newIntake makes the intake of the configured inputs, slot by slot as the link
// hands them out.
func newIntake(file *config.File) (*payload.Intake, error) {
	var thermal []*dosing.Thermal
	for i := range file.Settings.Safety.Tanks {
		t, err := dosing.NewThermal(file.Settings.Safety.Tanks[i].Expected())
		if err != nil {
			return nil, fmt.Errorf("tank %q: %w", file.Settings.Safety.Tanks[i].Name, err)
		}
		thermal = append(thermal, t)
	}
	var feeds []payload.Feed
	for i := range file.InputTopics {
		in := &file.InputTopics[i]
		set := &file.Settings.Safety.Inputs[in.Input]
		feeds = append(feeds, payload.Feed{Input: in.Input, Tank: set.Tank, Quantity: set.Quantity, Format: in.Format, Compensation: in.Compensation})
	}
	return payload.NewIntake(feeds, thermal), nil
}

// outlet names the outlet of an order: the tank, where the station serves several.
func (w *wires) outlet(tank dosing.TankID) string {
	if len(w.file.Settings.Tanks) == 1 {
		return ""
	}
	return w.file.Settings.Safety.Tanks[tank].Name
}

func (w *wires) orderTopic(o controller.Order) string {
	return w.topics.Order(w.file.Settings.Safety.Pumps[o.Pump()].Name)
}

// stopMessage is a stop for one pump or for all.
func (w *wires) stopMessage(epoch uint32, s controller.StopOrder) message {
	pump := ""
	if !s.All {
		pump = w.file.Settings.Safety.Pumps[s.Pump].Name
	}
	return message{topic: w.topics.Stop(), qos: 1, body: payload.AppendStop(nil, epoch, pump), stop: true}
}

// scheduleMessage is what a zone's node is to run. The broker keeps none: the node does.
func (w *wires) scheduleMessage(s *controller.ZoneSchedule) message {
	return message{topic: w.topics.ZoneSchedule(s.Tank, w.file.Settings.Tanks[s.Tank].Zones[s.Zone].Name), qos: 1, body: payload.AppendZoneSchedule(nil, s)}
}

// supplyMessage cuts the supply of all pumps of the station.
func (w *wires) supplyMessage(epoch uint32) message {
	return message{topic: w.topics.Supply(), qos: 1, body: payload.AppendSupply(nil, epoch)}
}

func (w *wires) leaseMessage(epoch uint32, beat uint64) message {
	return message{topic: w.topics.Lease(), body: payload.AppendLease(nil, epoch, beat)}
}

// online is the topic on which the daemon says that it is there.
func (w *wires) online() string { return w.topics.Online(w.file.Broker.ClientID) }

// openLink makes the link: a part of the one that the stations of the process share, or its own.
func openLink(a *App) error {
	if a.site != nil {
		a.link = a.site.trunk.Branch(a.wires.latest, a.wires.filters)
		return nil
	}
	options, err := a.linkOptions()
	if err == nil {
		a.link = mqtt.New(options)
	}
	return err
}

// linkOptions are the options of the broker connection.
func (a *App) linkOptions() (mqtt.Options, error) {
	b := a.file.Broker
	secure, err := BrokerTLS(b)
	if err != nil {
		return mqtt.Options{}, err
	}
	return mqtt.Options{URL: b.URL, ClientID: b.ClientID, User: b.User, Password: b.Password, TLS: secure,
		Will:   mqtt.Message{Topic: a.wires.online(), Body: []byte(payload.Offline)},
		Birth:  mqtt.Message{Topic: a.wires.online(), Body: []byte(payload.Online)},
		Latest: a.wires.latest, Queued: a.wires.filters, LargestBody: payload.LargestPayload, Log: a.log}, nil
}

// BrokerTLS reads the certificates of a broker that is reached by TLS.
func BrokerTLS(b config.Broker) (*tls.Config, error) {
	if b.CA == "" && b.Certificate == "" {
		return nil, nil // the system's roots, if the URL asks for TLS at all
	}
	secure := &tls.Config{MinVersion: tls.VersionTLS12}
	if b.CA != "" {
		roots, err := rootsOf("broker's ca_file", b.CA)
		if err != nil {
			return nil, err
		}
		secure.RootCAs = roots
	}
	if b.Certificate != "" {
		pair, err := tls.LoadX509KeyPair(b.Certificate, b.Key)
		if err != nil {
			return nil, fmt.Errorf("broker's certificate_file and key_file: %w", err)
		}
		secure.Certificates = []tls.Certificate{pair}
	}
	return secure, nil
}
