package apptest

import (
	"sync"
	"testing"
)

func TestNoTwoTestsGetOnePort(t *testing.T) {
	var mu sync.Mutex
	var drawing sync.WaitGroup
	seen := map[string]bool{}
	for range 300 {
		drawing.Go(func() {
			port := Port(t)
			mu.Lock()
			defer mu.Unlock()
			if seen[port] {
				t.Errorf("port %s was given twice", port)
			}
			seen[port] = true
		})
	}
	drawing.Wait()
}
