package main

import (
	"math"
	"runtime"
	"runtime/debug"
	"testing"
	"time"
)

func TestLimitFor(t *testing.T) {
	for _, tt := range []struct {
		liveMB uint64
		wantMB int64
	}{{0, 64}, {30, 64}, {38, 64}, {40, 66}, {400, 516}} {
		if got := limitFor(tt.liveMB << 20); got != tt.wantMB<<20 {
			t.Errorf("%d MB in use: limit %d MB, want %d", tt.liveMB, got>>20, tt.wantMB)
		}
	}
}

// The limit follows what is in use, up and down again.
func TestLimitFollows(t *testing.T) {
	t.Setenv("GOGC", "")
	t.Setenv("GOMEMLIMIT", "")
	before := debug.SetMemoryLimit(-1)
	percent := debug.SetGCPercent(100)
	modestMemory()
	defer func() {
		runtime.GC()
		debug.SetMemoryLimit(before)
		debug.SetGCPercent(percent)
	}()
	until := func(what string, ok func(limit int64) bool) {
		for range 200 {
			runtime.GC()
			if ok(debug.SetMemoryLimit(-1)) {
				return
			}
			time.Sleep(5 * time.Millisecond)
		}
		t.Errorf("%s: the limit is %d MB", what, debug.SetMemoryLimit(-1)>>20)
	}
	large := make([]byte, 100<<20)
	until("100 MB in use", func(limit int64) bool { return limit >= 141<<20 && limit < math.MaxInt64 })
	runtime.KeepAlive(large)
	until("given back", func(limit int64) bool { return limit < 110<<20 })
}
