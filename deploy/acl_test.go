package deploy_test

import (
	"bytes"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"leat/controller/config"
	"leat/controller/desk"
)

func TestRightsOfTheSampleAreThoseOfLeatACL(t *testing.T) {
	var made bytes.Buffer
	if err := desk.ACL("leat.toml", &made); err != nil {
		t.Fatal(err)
	}
	_, got, _ := strings.Cut(made.String(), "\n")
	if _, want, _ := strings.Cut(read(t, "mosquitto/leat.acl"), "\n"); got != want {
		t.Error("mosquitto/leat.acl is not current: leat acl -config deploy/leat.toml >deploy/mosquitto/leat.acl")
	}
}

// Who may say and who may hear what, as a person would put it; nothing of it is read from
// the rights that are under test.
var (
	reagentPump = `(acid|base)-(north|nursery)`
	stockPump   = `(calcium|potassium-nitrate|magnesium-nitrate|phosphate|magnesium-sulfate|potassium-sulfate|ammonium|iron|traces)`
	heeded      = `leat/row/(lease|stop|supply)`
	told        = `leat/row/(north|nursery)/(state|fit|ions|alarm/leak|setpoint/(ph|ec)|setpoint/(ph|ec)/answer|analysis/answer)`
	maySay      = map[string]string{
		"leat":           `leat/row/(order/.*|lease|owner|stop|supply)|` + told + `|leat/row/.*/calibration/answer|leat/daemon/leat-row/online`,
		"reagents":       `leat/row/report/` + reagentPump + `|leat/row/node/reagents(/online)?`,
		"stocks":         `leat/row/report/` + stockPump + `|leat/row/node/stocks(/online)?`,
		"probes-north":   `leat/row/north/reading/.*`,
		"probes-nursery": `leat/row/nursery/reading/.*`,
		"probes-row":     `leat/row/reading/.*`,
		"irrigation":     ``,
		"laboratory":     `leat/row/.*/(analysis|calibration)/ask`,
		"phone":          `leat/row/.*/setpoint/(ph|ec)/ask`,
	}
	mayHear = map[string]string{
		"leat":           `leat/row/(report/.*|node/[a-z]*|lease|owner|reading/.*)|leat/row/(north|nursery)/(reading/.*|.*/ask)`,
		"reagents":       `leat/row/order/` + reagentPump + `|` + heeded,
		"stocks":         `leat/row/order/` + stockPump + `|` + heeded,
		"probes-north":   ``,
		"probes-nursery": ``,
		"probes-row":     ``,
		"irrigation":     `leat/row/(north|nursery)/fit|leat/daemon/leat-row/online`,
		"laboratory":     `leat/row/.*/(ions|analysis/answer|calibration/answer)`,
		"phone":          told + `|leat/row/(.*/)?reading/.*|leat/row/node/.*/online|leat/daemon/leat-row/online`,
	}
)

// everyTopic of the sample's station.
func everyTopic(t *testing.T) (topics []string) {
	file, err := config.Look("leat.toml")
	if err != nil {
		t.Fatal(err)
	}
	for i := range file.InputTopics {
		topics = append(topics, file.InputTopics[i].Topic)
	}
	for _, p := range file.Settings.Safety.Pumps {
		topics = append(topics, "leat/row/order/"+p.Name, "leat/row/report/"+p.Name)
	}
	for _, tank := range []string{"north", "nursery"} {
		for _, rest := range []string{"state", "fit", "ions", "alarm/leak", "setpoint/ph", "setpoint/ec", "setpoint/ph/ask", "setpoint/ec/ask", "setpoint/ph/answer",
			"setpoint/ec/answer", "analysis/ask", "analysis/answer", "calibration/ask", "calibration/answer"} {
			topics = append(topics, "leat/row/"+tank+"/"+rest)
		}
	}
	return append(topics, "leat/row/lease", "leat/row/owner", "leat/row/stop", "leat/row/supply", "leat/row/node/reagents", "leat/row/node/stocks", "leat/row/node/reagents/online", "leat/row/node/stocks/online",
		"leat/daemon/leat-row/online", "leat/other/order/acid", "leat/row/order", "leat/row/north/order/acid-north", "$SYS/broker/uptime", "other")
}

func allowed(rules map[string]string, user, topic string) bool {
	return rules[user] != "" && regexp.MustCompile("^("+rules[user]+")$").MatchString(topic)
}

// The outside judge is Debian's mosquitto 2.0: every user tries every topic.
func TestEachUserSaysAndHearsWhatItMayAndNothingElse(t *testing.T) {
	url, topics := broker(t), everyTopic(t)
	var mu sync.Mutex
	heard := map[string][]string{} // by user: topic and who said it
	clients := map[string]mqtt.Client{}
	ended := make(chan string, len(users))
	for _, user := range users {
		client, err := join(t, url, user, user)
		if err != nil {
			t.Fatalf("%s: %v", user, err)
		}
		clients[user] = client
		if token := client.Subscribe("#", 0, func(_ mqtt.Client, m mqtt.Message) {
			mu.Lock()
			defer mu.Unlock()
			if said := string(m.Payload()); slices.Contains(users, said) {
				heard[user] = append(heard[user], m.Topic()+" "+said)
			}
		}); token.Wait() && token.Error() != nil {
			t.Fatal(token.Error())
		}
	}
	for _, user := range users {
		var tokens []mqtt.Token
		for _, topic := range topics {
			tokens = append(tokens, clients[user].Publish(topic, 1, false, user))
		}
		for _, token := range tokens {
			if token.WaitTimeout(20 * time.Second); token.Error() != nil {
				t.Fatal(user, token.Error())
			}
		}
	}
	// The broker answers in order: behind this answer nothing is on its way any more.
	for _, user := range users {
		go func() {
			clients[user].Subscribe("behind/"+user, 0, func(mqtt.Client, mqtt.Message) {}).Wait()
			ended <- user
		}()
	}
	for range users {
		select {
		case <-ended:
		case <-time.After(20 * time.Second):
			t.Fatal("the broker does not answer")
		}
	}
	for _, hears := range users {
		var want []string
		for _, says := range users {
			for _, topic := range topics {
				if !strings.HasPrefix(topic, "$") && allowed(maySay, says, topic) && allowed(mayHear, hears, topic) {
					want = append(want, topic+" "+says)
				}
			}
		}
		until(t, func() bool { mu.Lock(); defer mu.Unlock(); return len(heard[hears]) >= len(want) })
		mu.Lock()
		slices.Sort(heard[hears])
		slices.Sort(want)
		if !slices.Equal(heard[hears], want) {
			t.Errorf("%s: heard and should not %v; should and did not %v", hears, without(heard[hears], want), without(want, heard[hears]))
		}
		mu.Unlock()
	}
}

func without(all, some []string) (rest []string) {
	for _, one := range all {
		if !slices.Contains(some, one) {
			rest = append(rest, one)
		}
	}
	return rest
}

// until waits for a condition, for ten seconds at most; what is missing then is
// told by the comparison that follows.
func until(t *testing.T, done func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); !done() && time.Now().Before(end); {
		time.Sleep(10 * time.Millisecond)
	}
}
