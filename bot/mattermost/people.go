package mattermost

import (
	"context"
	"regexp"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/core"
)

// A person is an account with what decides whether the bot listens to it.
type person struct {
	core.Person
	human  bool
	member bool // of the crew's team
	known  time.Time
}

// acquaintance is how long the bot trusts what it knows of a person: somebody who
// left the team can be heard for that long.
const acquaintance = 5 * time.Minute

func (r *receiver) person(ctx context.Context, id string) (person, error) {
	if p, ok := r.people[id]; ok && time.Since(p.known) < acquaintance {
		return p, nil
	}
	p := person{Person: core.Person{ID: id}, known: time.Now()}
	user, err := ask(ctx, "asking who somebody is", func() (*model.User, *model.Response, error) {
		return r.api.GetUser(ctx, id, "")
	}, func(u *model.User) bool { return u.Id != "" })
	switch {
	case err == nil:
		p.Name, p.human = user.Username, !user.IsBot
	case !asFault(err).refused():
		return person{}, err
	}
	if p.member, err = r.isMember(ctx, id); err != nil {
		return person{}, err
	}
	r.people[id] = p
	return p, nil
}

// isMember reports whether somebody is in the crew's team.
func (s *Server) isMember(ctx context.Context, id string) (bool, error) {
	member, err := s.teamMember(ctx, id)
	if err != nil && asFault(err).refused() {
		return false, nil
	}
	return err == nil && member.DeleteAt == 0, err
}

// teamMember returns somebody's membership of the crew's team.
func (s *Server) teamMember(ctx context.Context, id string) (*model.TeamMember, error) {
	return ask(ctx, "asking who is in the team", func() (*model.TeamMember, *model.Response, error) {
		return s.api.GetTeamMember(ctx, s.team.Id, id, "")
	}, func(m *model.TeamMember) bool { return m.UserId != "" })
}

// mentionOf returns what matches a text in which the account is mentioned: by
// its whole name, in any case, with or without punctuation after it.
func mentionOf(name string) *regexp.Regexp {
	return regexp.MustCompile(`(?i)(^|[^\pL\pN_.@-])@` + regexp.QuoteMeta(name) + `[._-]*($|[^\pL\pN_.-])`)
}

// A room is what a channel is to the bot.
type room string

const (
	crewRoom   room = "the crew channel"
	directRoom room = "a direct message"
	otherRoom  room = "not the crew's"
)

// roomOf says what a channel is; kind is its type, if that is known.
func (r *receiver) roomOf(ctx context.Context, id string, kind model.ChannelType) (room, error) {
	if id == r.crew.Id {
		return crewRoom, nil
	}
	if known, ok := r.rooms[id]; ok {
		return known, nil
	}
	if kind == "" {
		channel, err := ask(ctx, "asking what a channel is", func() (*model.Channel, *model.Response, error) {
			return r.api.GetChannel(ctx, id, "")
		}, func(c *model.Channel) bool { return c != nil && c.Id != "" })
		if err != nil && !asFault(err).refused() {
			return otherRoom, err
		}
		if err == nil {
			kind = channel.Type
		}
	}
	if kind == model.ChannelTypeDirect {
		r.rooms[id] = directRoom
	} else {
		r.rooms[id] = otherRoom
		r.log.Info("a channel that is not the crew's is ignored", "channel", id)
	}
	return r.rooms[id], nil
}

// mayTalk reports whether p is listened to in a room.
func (p person) mayTalk(in room) bool {
	return p.human && (in == crewRoom || in == directRoom && p.member)
}
