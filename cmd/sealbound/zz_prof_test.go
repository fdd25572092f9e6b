package main
import ("testing";"os";"runtime/pprof";"io";"strings")
func TestZZProf(t *testing.T){
 f,_:=os.Create("/tmp/w/cpu.prof"); pprof.StartCPUProfile(f)
 for range 5 { if c:=run(append([]string{"sealbound"},strings.Fields(os.Getenv("ZZ"))...), nil, io.Discard, os.Stderr); c!=0 {t.Fatal(c)} }
 pprof.StopCPUProfile(); f.Close()
}
