package main

import (
	"bytes"
	"strings"
	"testing"
)

func TestAMonthOfAFarmWithoutARecipeSaysWhatToState(t *testing.T) {
	var out, err bytes.Buffer
	if code := dispatch([]string{"rehearse", "-month", "-config", "../../deploy/minimal.toml"}, &out, &err); code != 1 || !strings.Contains(err.String(), "[tank.recipe]") {
		t.Errorf("exit %d, %q", code, err.String())
	}
}
