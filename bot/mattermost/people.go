package mattermost

import (
	"context"
	"errors"
	"regexp"
	"slices"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
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

// person returns who somebody is: as the server tells, or if this look-up is
// given up, as the roster or an earlier answer told.
func (r *receiver) person(ctx context.Context, id string) (person, error) {
	last, met := r.people[id]
	if met && time.Since(last.known) < acquaintance {
		return last, nil
	}
	p := person{Person: core.Person{ID: id}, known: time.Now()}
	user, err := r.getUser(ctx, id)
	listed := slices.IndexFunc(r.listed.all, func(m chat.Member) bool { return m.ID == id })
	switch {
	case err == nil:
		p.Name, p.human = user.Username, !user.IsBot
	case errors.Is(err, errGivenUp) && met:
		return last, nil
	case errors.Is(err, errGivenUp) && listed >= 0:
		p.Name, p.human = r.listed.all[listed].Name, true
	case !asFault(err).refused():
		return person{}, err
	}
	in := lookUp{"asking who is in the team", id, "direct messages by somebody are passed over, if that is not known", lookUpWait}
	p.member, err = look(ctx, r, in, func(ctx context.Context) (bool, error) { return r.isMember(ctx, id) })
	switch {
	case errors.Is(err, errGivenUp):
		p.member = last.member
	case err != nil:
		return person{}, err
	}
	r.people[id] = p
	return p, nil
}

func (r *receiver) getUser(ctx context.Context, id string) (*model.User, error) {
	l := lookUp{"asking who somebody is", id, "what they write and tap is passed over, if the list of people does not have them", lookUpWait}
	return look(ctx, r, l, func(ctx context.Context) (*model.User, error) {
		return ask(ctx, l.doing, func() (*model.User, *model.Response, error) {
			return r.api.GetUser(ctx, id, "")
		}, func(u *model.User) bool { return u.Id != "" })
	})
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
		l := lookUp{"asking what a channel is", id, "what happens there is passed over", lookUpWait}
		channel, err := look(ctx, r, l, func(ctx context.Context) (*model.Channel, error) {
			return ask(ctx, l.doing, func() (*model.Channel, *model.Response, error) {
				return r.api.GetChannel(ctx, id, "")
			}, wholeChannel)
		})
		if errors.Is(err, errGivenUp) {
			return otherRoom, nil // and it is asked for again
		}
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
