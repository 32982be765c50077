package live

import (
	"testing"
)

// TestWrongSetup is about what a keeper may get wrong: serve and check refuse,
// and say what to do.
func TestWrongSetup(t *testing.T) {
	t.Parallel()
	station := ground.Open(t)
	bot := station.NewBot("")
	both := []string{"check", "serve"}
	for _, tt := range []struct {
		name  string
		wrong func()
		says  []string
	}{
		{
			"unknown team", func() { bot.Configure("harrow-pont", crewName, "") },
			[]string{`no team "harrow-pont"`, "add the bot to the team"},
		},
		{
			"unknown channel", func() { bot.Configure(teamName, "suit-bank", "") },
			[]string{`no channel "suit-bank"`, "the name in the channel's URL"},
		},
		{
			"unknown key", func() { bot.Configure(teamName, crewName, "[policy]\nwarn_befor = \"3s\"\n") },
			[]string{"benchbell.toml", "line 12", "warn_befor"},
		},
		{
			"no source", func() { bot.Configure(teamName, crewName, "[[method]]\nkey = \"mine\"\nunit = \"mbar\"\n") },
			[]string{"benchbell.toml", `method "mine"`},
		},
		{
			"token refused", func() { bot.Configure(teamName, crewName, ""); bot.Token = "nobodys0token0nobodys0toke" },
			[]string{"refuses the bot's token", "make a new one"},
		},
		{
			"no token", func() { bot.Token = "" },
			[]string{"token is missing", "BENCHBELL_TOKEN", "token_file"},
		},
	} {
		tt.wrong()
		for _, subcommand := range both {
			said := bot.Refused(subcommand)
			for _, words := range tt.says {
				if !says(said, words) {
					t.Errorf("%s: benchbell %s says\n%s\nwant %q in it", tt.name, subcommand, said, words)
				}
			}
		}
	}
}

// TestShutAtStart is about a crew channel that is shut when the bot starts: check
// says so, serve waits and says so, and goes to work when the channel is open.
func TestShutAtStart(t *testing.T) {
	for _, tt := range []struct {
		name       string
		shut, open func(*Station)
		says       string
	}{
		{"not a member", (*Station).RemoveBot, (*Station).InviteBot, "/invite @benchbell"},
		{"archived", (*Station).ArchiveCrew, (*Station).RestoreCrew, "is archived: bring it back, or configure another"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			if said := b.bot.Refused("check"); !says(said, "numbers to tap") || !says(said, "attach files") || !says(said, "officers: @duty.officer") {
				t.Errorf("benchbell check says\n%s", said)
			}
			tt.shut(b.Station)
			if said := b.bot.Refused("check"); !says(said, tt.says) {
				t.Errorf("benchbell check says\n%s", said)
			}
			b.bot.Launch()
			b.bot.AwaitLog("waiting for the crew channel")
			b.bot.AwaitLog(tt.says)
			tt.open(b.Station)
			b.bot.AwaitLog(botReady)
			b.tester.Post(b.Crew, "@benchbell status HP-07")
			b.tester.AwaitText("HP-07")
		})
	}
}

// TestDataInUse is about a second bot on the data of the first.
func TestDataInUse(t *testing.T) {
	t.Parallel()
	b := openBench(t)
	for _, subcommand := range []string{"check", "serve", "verify"} {
		if said := b.bot.Refused(subcommand); !says(said, "in use") && !says(said, "another") {
			t.Errorf("benchbell %s says\n%s\nwant it to say that the data is in use", subcommand, said)
		}
	}
}

func says(output, words string) bool { return Post{Text: output}.Says(words) }
