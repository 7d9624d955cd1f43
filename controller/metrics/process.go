package metrics

import (
	"os"
	"runtime"
	"runtime/metrics"
	"strconv"
	"strings"
	"time"
)

// Of the process, whatever stations it has: the names that every Go program has for them.
var (
	processStart  = &family{name: "process_start_time_seconds", help: "Unix time at which the process was started.", kind: gauge}
	processUsed   = &family{name: "process_cpu_seconds_total", help: "Time that the process has had of all processors.", kind: counter}
	processMemory = &family{name: "process_resident_memory_bytes", help: "Memory that the process holds.", kind: gauge}
	processFiles  = &family{name: "process_open_fds", help: "Open files and connections.", kind: gauge}
	goroutines    = &family{name: "go_goroutines", help: "Goroutines that exist.", kind: gauge}
	goHeap        = &family{name: "go_memstats_heap_alloc_bytes", help: "Bytes of objects on the heap, in use or not yet swept.", kind: gauge}
)

var started = time.Now()

// sendProcess sends what is known of this process; on a system that does not tell, less.
func sendProcess(out *scrape) {
	out.send(processStart, float64(started.UnixMilli())/1e3)
	if used, ok := processorTime(); ok {
		out.send(processUsed, used.Seconds())
	}
	if pages, err := os.ReadFile("/proc/self/statm"); err == nil {
		if fields := strings.Fields(string(pages)); len(fields) > 1 {
			if resident, err := strconv.Atoi(fields[1]); err == nil {
				out.send(processMemory, float64(resident*os.Getpagesize()))
			}
		}
	}
	if open, err := os.ReadDir("/proc/self/fd"); err == nil {
		out.send(processFiles, float64(len(open)-1)) // the folder itself was open
	}
	out.send(goroutines, float64(runtime.NumGoroutine()))
	heap := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	metrics.Read(heap)
	if heap[0].Value.Kind() == metrics.KindUint64 {
		out.send(goHeap, float64(heap[0].Value.Uint64()))
	}
}
