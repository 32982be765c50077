package live

import (
	"context"
	"fmt"

	"github.com/mattermost/mattermost/server/public/model"
)

// The station of the tests: invented, with the names of Benchbell's demo data.
const (
	teamName = "harrow-point"
	crewName = "suit-bench"
	botName  = "benchbell"
	password = "invented for the tests 1"
)

var peopleNames = []string{"bench.tester", "second.tester", "crew.member", "duty.officer"}

// Channel is a place of posts: a channel, or the direct messages of two.
type Channel struct {
	ID, Name string
}

// accounts is what the first day leaves: who there is, with the tokens that
// open their accounts. They are kept in the database and hold in each copy of it.
type accounts struct {
	crew            Channel
	people          []account
	admin           account
	botID, botToken string
}

type account struct {
	id, name, token string
}

// settle makes the team, its channel, the people and the bot's account on an empty
// server. The first account made is the administrator's.
func settle(ctx context.Context, url string) (accounts, error) {
	client := newClient(url)
	admin, err := enrol(ctx, client, url, "keeper")
	if err != nil {
		return accounts{}, err
	}
	client.SetToken(admin.token)

	team, _, err := client.CreateTeam(ctx, &model.Team{
		Name: teamName, DisplayName: "Harrow Point (invented)", Type: model.TeamOpen,
	})
	if err != nil {
		return accounts{}, fmt.Errorf("making the team: %w", err)
	}
	crew, _, err := client.CreateChannel(ctx, &model.Channel{
		TeamId: team.Id, Name: crewName, DisplayName: "Suit bench", Type: model.ChannelTypeOpen,
	})
	if err != nil {
		return accounts{}, fmt.Errorf("making the channel: %w", err)
	}
	made := accounts{admin: admin, crew: Channel{ID: crew.Id, Name: crewName}}
	for _, name := range peopleNames {
		person, err := enrol(ctx, client, url, name)
		if err != nil {
			return accounts{}, err
		}
		if err := join(ctx, client, team.Id, crew.Id, person.id); err != nil {
			return accounts{}, fmt.Errorf("%s: %w", name, err)
		}
		made.people = append(made.people, person)
	}
	bot, _, err := client.CreateBot(ctx, &model.Bot{Username: botName, DisplayName: "Benchbell"})
	if err != nil {
		return accounts{}, fmt.Errorf("making the bot's account: %w", err)
	}
	token, _, err := client.CreateUserAccessToken(ctx, bot.UserId, "live tests")
	if err != nil {
		return accounts{}, fmt.Errorf("making the bot's token: %w", err)
	}
	made.botID, made.botToken = bot.UserId, token.Token
	return made, join(ctx, client, team.Id, crew.Id, bot.UserId)
}

// enrol makes an account and logs it in.
func enrol(ctx context.Context, client *model.Client4, url, name string) (account, error) {
	user, _, err := client.CreateUser(ctx, &model.User{
		Username: name, Email: name + "@harrow-point.invalid", Password: password,
	})
	if err != nil {
		return account{}, fmt.Errorf("making the account %s: %w", name, err)
	}
	own := newClient(url)
	if _, _, err := own.Login(ctx, name, password); err != nil {
		return account{}, fmt.Errorf("logging in %s: %w", name, err)
	}
	return account{id: user.Id, name: name, token: own.AuthToken}, nil
}

func join(ctx context.Context, client *model.Client4, team, channel, user string) error {
	if _, _, err := client.AddTeamMember(ctx, team, user); err != nil {
		return fmt.Errorf("joining the team: %w", err)
	}
	if _, _, err := client.AddChannelMember(ctx, channel, user); err != nil {
		return fmt.Errorf("joining the channel: %w", err)
	}
	return nil
}
