package live

import (
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// deafFor is how long the bot may hear nothing after the crew channel is open
// again.
const deafFor = 20 * time.Second

// TestShutAndOpen is about a crew channel that is archived and restored, and
// about a bot that is taken out of it and invited again, while it is at work.
func TestShutAndOpen(t *testing.T) {
	for _, tt := range []struct {
		name       string
		shut, open func(*Station)
		says       string
	}{
		{"archived", (*Station).ArchiveCrew, (*Station).RestoreCrew, "is archived: bring it back"},
		{"taken out", (*Station).RemoveBot, (*Station).InviteBot, "/invite @benchbell"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := openBench(t)
			b.tester.Post(b.Crew, "@benchbell status HP-07")
			b.tester.AwaitText("HP-07")
			began := time.Now()
			tt.shut(b.Station)
			b.bot.AwaitLog(tt.says)
			t.Logf("noticed after %v", time.Since(began).Round(time.Millisecond))
			b.WaitUntil(began.Add(7 * time.Second))
			opened := time.Now()
			tt.open(b.Station)
			b.tester.Post(b.Crew, "@benchbell status HP-08")
			b.tester.AwaitText("HP-08")
			took := time.Since(opened)
			t.Logf("heard again after %v", took.Round(time.Millisecond))
			if took > deafFor {
				t.Errorf("the bot was deaf for %v after the channel was open again", took)
			}
			// From now on at once.
			posted := time.Now()
			b.tester.Post(b.Crew, "@benchbell status HP-09")
			b.tester.AwaitText("HP-09")
			if took := time.Since(posted); took > 3*time.Second {
				t.Errorf("then an answer took %v", took)
			}

			// So short that no look falls between.
			tt.shut(b.Station)
			tt.open(b.Station)
			opened = time.Now()
			b.tester.Post(b.Crew, "@benchbell status HP-10")
			b.tester.AwaitText("HP-10")
			t.Logf("after a short while heard again after %v", time.Since(opened).Round(time.Millisecond))
			if took := time.Since(opened); took > deafFor {
				t.Errorf("the bot was deaf for %v after the channel was shut for a moment", took)
			}
			if says(b.bot.Log(), "cannot read the list of members") {
				t.Error("the server does not tell the bot who is in the channel")
			}
		})
	}
}

// TestNoWebsocket is about a proxy that passes requests and no websockets.
func TestNoWebsocket(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	target, err := url.Parse(b.Server.URL)
	if err != nil {
		t.Fatal(err)
	}
	forward := httputil.NewSingleHostReverseProxy(target)
	var passes atomic.Bool
	proxy := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/websocket") && !passes.Load() {
			http.Error(w, "<html>no websockets here</html>", http.StatusBadRequest)
			return
		}
		forward.ServeHTTP(w, r)
	}))
	t.Cleanup(proxy.CloseClientConnections)
	b.bot.URL = proxy.URL
	b.bot.Configure(teamName, crewName, testMethods)
	b.bot.Start()
	b.bot.AwaitLog("no websocket")
	card, _ := b.hold(b.tester, "HP-08 quick with M-1", quickHold)
	b.tester.AwaitText("Bell!")
	b.tester.Reply(card, "14.2")
	list := b.tester.AwaitText("Unplug and put away HP-08")
	b.tester.React(list, "one")
	b.tester.Await(ticked(list, 1))
	b.second.DM("status HP-09")
	b.second.AwaitText("HP-09")

	passes.Store(true)
	b.bot.AwaitLog("the websocket is back")
	posted := time.Now()
	b.second.DM("status HP-10")
	b.second.AwaitText("HP-10")
	if took := time.Since(posted); took > 2*time.Second {
		t.Errorf("with the websocket an answer took %v", took)
	}
}
