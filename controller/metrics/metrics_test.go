package metrics

import (
	"testing"
	"github.com/prometheus/client_golang/prometheus/testutil"
)

func TestX(t *testing.T) { _ = testutil.ToFloat64 }
