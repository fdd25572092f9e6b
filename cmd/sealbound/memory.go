package main

import (
	"os"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
)

// modestMemory makes the collector run more often than is usual, so that a large
// archive takes little memory: most of what is allocated is columns of numbers, which
// cost it next to nothing to look through. GOGC and GOMEMLIMIT, where they are set,
// have the last word.
func modestMemory() {
	if os.Getenv("GOGC") == "" && os.Getenv("GOMEMLIMIT") == "" {
		debug.SetGCPercent(50)
		followLive()
	}
}

// modest is the memory, in bytes, that the process keeps within while that leaves the
// collector room to breathe.
const modest = 64 << 20

// limitFor is the soft limit while so many bytes are in use: where modest would have
// the collector run without a pause, it gives way.
func limitFor(live uint64) int64 { return max(modest, int64(live)*5/4+16<<20) }

// followLive sets the soft limit anew after each collection.
func followLive() {
	sample := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(sample)
	if sample[0].Value.Kind() != metrics.KindUint64 {
		return // a runtime that does not tell
	}
	debug.SetMemoryLimit(limitFor(sample[0].Value.Uint64()))
	runtime.SetFinalizer(new([64]byte), func(*[64]byte) { followLive() })
}
