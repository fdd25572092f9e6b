// Command sealbound turns many runs of attenuation readings of sealed metal
// boxes into one answer that can be defended: does the lower bound still clear
// the target, in which bands, for which boxes.
//
// Exit codes: 0 done; 1 --require was given and a verdict it names is not a
// pass; 2 wrong use or unusable input, with the problems on standard error and
// nothing on standard output (check --format json alone prints its report,
// problems included); 130 interrupted, and 128 + the signal's number for others.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/urfave/cli/v2"

	"sealbound/cmd/internal/atomicfile"
	"sealbound/cmd/internal/report"
	"sealbound/cmd/internal/study"
	"sealbound/cmd/internal/texttab"
)

// version is that of the program and of the names in its output.
const version = "0.1.0"

func main() {
	modestMemory()
	os.Exit(run(os.Args, os.Stdin, os.Stdout, os.Stderr))
}

// run is main without the process.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	today := time.Now()
	asked := func(f analysis) analysis {
		return func(ctx context.Context, paths []string, s study.Settings) (*report.Document, error) {
			s.Today = today
			return f(ctx, paths, s)
		}
	}
	p := program{judge: asked(study.Judge), check: asked(study.Check), spread: asked(study.Spread), wear: asked(study.Wear), compare: asked(study.Compare)}
	return p.interruptible(args, stdin, stdout, stderr)
}

// interruptible runs p until it is done or a signal ends it: an interrupt, a
// request to end, or a terminal that is gone. Then no half-written file stays,
// in whatever phase it was.
func (p program) interruptible(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	stderr = onScreen(stderr)
	signals := make(chan os.Signal, 1)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	if !signal.Ignored(syscall.SIGHUP) { // as nohup does
		signal.Notify(signals, syscall.SIGHUP)
	}
	defer signal.Stop(signals)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	ended := make(chan int, 1)
	go func() { ended <- p.run(call{ctx, stdin, stdout, stderr}, args) }()
	select {
	case code := <-ended:
		return code
	case s := <-signals:
		cancel()
		atomicfile.Abandon()
		select { // it gives back what it holds, if it does so soon
		case <-ended:
		case <-time.After(200 * time.Millisecond):
		}
		complain(stderr, "interrupted")
		code := interrupted
		if n, ok := s.(syscall.Signal); ok {
			code = 128 + int(n)
		}
		return code
	}
}

// An analysis reads paths and answers, under settings.
type analysis func(ctx context.Context, paths []string, s study.Settings) (*report.Document, error)

// program holds the analyses that its commands call.
type program struct {
	judge, check, spread, wear, compare analysis
}

// commands are all commands, in the order in which help lists them.
func (p program) commands() []*command {
	return []*command{checkCommand(p.check), judgeCommand(p.judge), spreadCommand(p.spread), wearCommand(p.wear), compareCommand(p.compare), planCommand(), simulateCommand(), reportCommand(), packCommand(), completionCommand()}
}

// A call is one start of the program.
type call struct {
	ctx            context.Context
	stdin          io.Reader
	stdout, stderr io.Writer
}

// A command of the program. Its options are bound to the variables that action
// reads, so a command serves one call.
type command struct {
	name      string
	summary   string // one line
	arguments string // PATH...
	about     string // paragraphs, separated by a newline
	example   string // the arguments of a call that works in the project's folder
	options   []option
	offers    []string // words that completion offers in the place of a path
	words     []string // of the command line, the command first
	action    func(c call, paths []string) error
}

const (
	done        = 0
	notCleared  = 1
	wrongUse    = 2   // or unusable input
	interrupted = 130 // as shells say it: 128 and the number of the signal
	brokenPipe  = 141 // likewise
)

func (p program) run(c call, args []string) int {
	name, rest := "", []string(nil)
	if n := len(args); n > 1 && args[n-1] == completionWord {
		return p.exit(c, "", p.complete(c, args[1:n-1]))
	}
	if len(args) > 1 {
		name, rest = args[1], args[2:]
	}
	var err error
	switch name {
	case "":
		err = put(c.stdout, welcome(p.commands()))
	case "help", "--help", "-help", "-h":
		err = p.help(c, rest)
	case "--version", "-version", "version", "-v", "-V":
		err = put(c.stdout, "sealbound "+version+"\n")
	default:
		err = p.start(c, name, rest)
	}
	return p.exit(c, name, err)
}

func put(w io.Writer, s string) error {
	_, err := io.WriteString(w, s)
	return err
}

// start runs the command name.
func (p program) start(c call, name string, args []string) error {
	cmd, err := p.find(name)
	if err != nil {
		return err
	}
	ordered, err := orderArgs(cmd.options, args, p.owner)
	if errors.Is(err, errNeedsHelp) {
		return put(c.stdout, cmd.help())
	}
	if err != nil {
		return err
	}
	cmd.words = append([]string{name}, args...)
	app := &cli.App{
		Name: "sealbound", Commands: []*cli.Command{cmd.cli(c)}, Reader: c.stdin, Writer: c.stderr, ErrWriter: c.stderr,
		HideHelp: true, HideVersion: true,
		ExitErrHandler: func(*cli.Context, error) {}, // cli must not end the process
	}
	return app.RunContext(c.ctx, append([]string{"sealbound", name}, ordered...))
}

// cli is the command for the flag parser.
func (cmd *command) cli(c call) *cli.Command {
	var bad error
	out := &cli.Command{
		Name: cmd.name, Usage: cmd.summary, HideHelp: true,
		OnUsageError: func(_ *cli.Context, err error, _ bool) error { // the parser would print help among the results
			if bad != nil {
				return bad
			}
			return usage("%v", err)
		},
		Action: func(ctx *cli.Context) error {
			for _, o := range cmd.options {
				if o.idle && ctx.IsSet(o.name) {
					fmt.Fprintf(c.stderr, "note: --%s plays no part in %s\n", o.name, cmd.name)
				}
			}
			return cmd.action(c, ctx.Args().Slice())
		},
	}
	for _, o := range cmd.options {
		out.Flags = append(out.Flags, &cli.GenericFlag{Name: o.name, Usage: o.usage, Value: setter{o, &bad}})
	}
	return out
}

// setter hands a value to an option and keeps what was wrong with it: the parser
// passes on the words alone.
type setter struct {
	option
	bad *error
}

func (s setter) Set(text string) error {
	err := s.set(text)
	if err != nil {
		*s.bad = badValue(s.name, text, err.Error())
	}
	return err
}

func (setter) String() string { return "" }

func (p program) find(name string) (*command, error) {
	var known []string
	for _, cmd := range p.commands() {
		if cmd.name == name {
			return cmd, nil
		}
		known = append(known, cmd.name)
	}
	if strings.HasPrefix(name, "-") {
		return nil, usage("a command comes first, then its flags: %s", strings.Join(known, ", "))
	}
	if near, ok := nearest(name, append(known, "help")); ok {
		return nil, usage("unknown command %q; did you mean %s?", name, near)
	}
	if _, err := os.Stat(name); err == nil {
		return nil, usage("%q is no command but something to read; try: sealbound judge %s", name, name)
	}
	return nil, usage("unknown command %q; there are %s", name, strings.Join(known, ", "))
}

// owner returns the first command that has the flag, empty if none has.
func (p program) owner(flag string) string {
	for _, cmd := range p.commands() {
		if _, ok := find(cmd.options, flag); ok {
			return cmd.name
		}
	}
	return ""
}

// exit tells what went wrong and returns the exit code.
func (p program) exit(c call, name string, err error) int {
	if err == nil {
		return done
	}
	if c.ctx.Err() != nil && (errors.Is(err, c.ctx.Err()) || errors.Is(err, atomicfile.ErrAbandoned)) {
		return interrupted // which is told where the signal was noticed
	}
	if errors.Is(err, syscall.EPIPE) {
		return brokenPipe // whoever read has had enough
	}
	var (
		failed *errNotCleared
		input  *study.InputError
		value  *study.UsageError
		use    *usageError
	)
	if errors.As(err, &failed) {
		complain(c.stderr, failed.Error())
		return notCleared
	}
	if errors.As(err, &input) {
		explainInput(c.stderr, name, input)
		return wrongUse
	}
	complain(c.stderr, err.Error())
	if errors.As(err, &value) || errors.As(err, &use) {
		about := "help"
		if cmd, unknown := p.find(name); unknown == nil {
			about = "help " + cmd.name
		}
		fmt.Fprintf(c.stderr, "See: sealbound %s\n", about)
	}
	return wrongUse
}

// complain writes a message that may have several lines.
func complain(w io.Writer, message string) {
	prefix := "sealbound: "
	for line := range strings.SplitSeq(message, "\n") {
		fmt.Fprintln(w, prefix+texttab.Clean(line))
		prefix = ""
	}
}

// explainInput lists the problems of the input, each on a line that editors can
// jump to.
func explainInput(w io.Writer, name string, e *study.InputError) {
	for _, p := range e.Problems {
		fmt.Fprintln(w, texttab.Clean(p.String()))
	}
	if len(e.Problems) == 0 {
		complain(w, e.Error())
		return
	}
	if e.Omitted > 0 {
		fmt.Fprintf(w, "and %d more problems\n", e.Omitted)
	}
	n := len(e.Problems) + e.Omitted
	problems := "1 problem"
	if n > 1 {
		problems = fmt.Sprintf("%d problems", n)
	}
	if name == "check" {
		complain(w, problems+" in the input")
		return
	}
	mend := "mend the input"
	if slices.ContainsFunc(e.Problems, func(p report.Problem) bool { return p.Line > 1 }) { // of a row, not of a whole file
		mend += ", or leave the rows out with --skip-bad-rows"
	}
	complain(w, problems+" in the input, so there is no result; "+mend)
}
