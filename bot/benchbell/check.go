package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"time"

	"github.com/dustin/go-humanize"

	"benchbell/bot/mattermost"
	"benchbell/core"
	"benchbell/store"
)

// inspection prints what "check" finds, and counts what is wrong.
type inspection struct {
	terminal
	setup
	now   time.Time
	wrong int
}

func (c *inspection) say(f mattermost.Finding) {
	fmt.Fprintln(c.out, f)
	if !f.Good {
		c.wrong++
	}
}

func (c *inspection) good(format string, args ...any) {
	c.say(mattermost.Finding{Good: true, Text: fmt.Sprintf(format, args...)})
}

// bad notes something that is wrong; the text says what to do about it.
func (c *inspection) bad(format string, args ...any) {
	c.say(mattermost.Finding{Text: fmt.Sprintf(format, args...)})
}

func checkCmd(ctx context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	cfg, rest, err := configured(flags, args)
	if err != nil {
		return err
	}
	if len(rest) > 0 {
		return fmt.Errorf("check takes no %q: %w", rest[0], errUsage)
	}
	c := &inspection{terminal: t, setup: cfg, now: time.Now()}
	c.configuration()
	c.storeFile()
	c.disk()
	c.calendarPort()
	c.chatServer(ctx)
	switch c.wrong {
	case 0:
		return nil
	case 1:
		return errors.New("1 thing is not right")
	}
	return fmt.Errorf("%d things are not right", c.wrong)
}

func (c *inspection) configuration() {
	if c.file == "" {
		c.bad("configuration: there is no benchbell.toml in %s: go to the station's folder, or name the file with --config", absolute("."))
	} else {
		c.good("configuration: %s, time zone %s, %d further methods", c.Name, c.Policy.Zone, len(c.Methods))
	}
	address := c.Address
	if address == "" {
		address = "without an address: a record asks for one, write it in station.address"
	}
	c.good("documents: %s, %s", c.Paper, address)
	if len(c.Officers) == 0 {
		c.bad("officers: none are named, so anybody can release, retire or reinstate a suit and change the register, and nobody is told directly of what is overdue: write their user names in crew.officers")
	}
	const form = "Monday 2006-01-02 15:04"
	zone := c.Policy.Zone
	next := func(t time.Time) string { return c.Reminders.QuietUntil(t, zone).In(zone).Format(form) }
	c.good("reminders: next digest %s, next daily look %s", next(c.Reminders.Digest.Next(c.now)), next(c.Reminders.Daily.Next(c.now)))
}

// storeFile looks at the store, and makes none: an empty one in the wrong folder
// would look sound.
func (c *inspection) storeFile() {
	const fill = `put suits and manometers in it with "benchbell import suits.csv manometers.csv"`
	st, err := store.Open(c.Data)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		c.good("store: there is none at %s yet: %s", absolute(c.Data), fill)
		return
	case err != nil:
		c.bad("store: %v", err)
		return
	}
	defer func() {
		if err := st.Close(); err != nil {
			c.bad("store: %v", err)
		}
	}()
	if err := st.Check(); err != nil {
		c.bad("store: %v", damaged(c.Data, err))
		return
	}
	if err := c.contents(st, fill); err != nil {
		c.bad("store: %v", err)
	}
}

// damaged says what to do about a store that is damaged.
func damaged(path string, err error) error {
	return fmt.Errorf("%s is damaged: stop the bot, keep a copy of the file, and put the last backup in its place: %w", absolute(path), err)
}

// contents looks at what is in a sound store.
func (c *inspection) contents(st *store.Store, fill string) error {
	total, _, err := st.Count()
	if err != nil {
		return err
	}
	gauges, err := st.Manometers()
	if err != nil {
		return err
	}
	parked, err := st.ParkedCount()
	if err != nil {
		return err
	}
	c.good("store: %s is sound, %d suits, %d manometers", absolute(c.Data), total, len(gauges))
	if total == 0 || len(gauges) == 0 {
		c.bad("register: suits or manometers are missing: %s", fill)
	}
	today := core.DateAt(c.now, c.Policy.Zone)
	for _, m := range gauges {
		switch until := m.CalibratedUntil; {
		case until.IsZero():
			c.bad("manometer %s: it has no calibration, so its tests give no verdict: have it calibrated, and tell the bot \"manometer change %s calibrated_until=…\"", m.ID, m.ID)
		case m.Lapsed(today):
			c.bad("manometer %s: its calibration lapsed on %s, so its tests give no verdict: have it calibrated, and tell the bot \"manometer change %s calibrated_until=…\"", m.ID, until, m.ID)
		}
	}
	if parked > 0 {
		c.bad("messages: %d could not be delivered: \"benchbell undelivered\" lists them", parked)
	}
	return nil
}

// disk looks at how much space is left for the store.
func (c *inspection) disk() {
	free, ok := freeSpace(filepath.Dir(c.Data))
	if !ok {
		return
	}
	var size int64
	if info, err := os.Stat(c.Data); err == nil {
		size = info.Size()
	}
	c.say(diskFinding(free, uint64(size)))
}

// diskFinding judges the space left for a store of some size: it grows, and is
// copied beside itself by a backup or an update.
func diskFinding(free, size uint64) mattermost.Finding {
	const least = 200_000_000
	need := max(least, 2*size)
	if free < need {
		return mattermost.Finding{Text: fmt.Sprintf("disk: only %s are free where the store is, and %s should be: make room there, or move the store and correct station.data", humanize.Bytes(free), humanize.Bytes(need))}
	}
	return mattermost.Finding{Good: true, Text: fmt.Sprintf("disk: %s are free where the store is", humanize.Bytes(free))}
}

// calendarPort tries to listen where the calendar is to be handed out.
func (c *inspection) calendarPort() {
	address := c.Calendar.Listen
	if address == "" {
		return
	}
	listener, err := net.Listen("tcp", address)
	if err != nil {
		c.bad("calendar: %v: unless it is this bot that runs there, end the other program or write another port in calendar.listen", err)
		return
	}
	listener.Close()
	c.good("calendar: %s is free", address)
}

func (c *inspection) chatServer(ctx context.Context) {
	srv, err := connect(ctx, c.terminal, c.Config, mattermost.Open)
	if err != nil {
		c.bad("chat server: %v", err)
		return
	}
	for _, finding := range srv.Check(ctx) {
		c.say(finding)
	}
}
