package metrics

import (
	"github.com/prometheus/client_golang/prometheus/testutil"
	"testing"
)

func TestX(t *testing.T) { _ = testutil.ToFloat64 }
