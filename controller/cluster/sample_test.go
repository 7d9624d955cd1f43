package cluster_test

import (
	"testing"

	"github.com/nats-io/nats-server/v2/server"
)

// TestTheSampleOfALedgerServerSyncsEachRow reads the shipped configuration as the server does.
func TestTheSampleOfALedgerServerSyncsEachRow(t *testing.T) {
	t.Setenv("LEAT_LEDGER_PASSWORD", "of-the-test")
	o, err := server.ProcessConfigFile("../../deploy/nats/leat-nats.conf")
	if err != nil {
		t.Fatal(err)
	}
	if !o.JetStream || !o.SyncAlways || len(o.Routes) != 3 || len(o.Users) != 1 {
		t.Errorf("JetStream %v, sync always %v, %d routes, %d users", o.JetStream, o.SyncAlways, len(o.Routes), len(o.Users))
	}
	if len(o.Users) == 1 && o.Users[0].Password != "of-the-test" {
		t.Errorf("the password is %q and not the environment's", o.Users[0].Password)
	}
}
