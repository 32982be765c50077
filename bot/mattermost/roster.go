package mattermost

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
	"benchbell/bot/retry"
	"benchbell/core"
)

const (
	// rosterEvery is how often the list of people is asked for, besides when the
	// server tells of a change.
	rosterEvery = 2 * time.Minute

	// rosterWait is how long a catch-up waits for the list of people.
	rosterWait = 2 * time.Second
)

// A roster says who can read the crew channel, and who the officers are. Those
// who were in the last one stay in it when their account is deactivated.
type roster struct {
	all   []chat.Member
	crew  []*model.User // who is in the crew channel, bots too
	asked time.Time
	doubt error // why it has people of the last one of whom nothing is known now
}

// A rosterKeeper asks for the roster beside the receiver.
type rosterKeeper struct {
	wanted retry.Signal
	news   chan roster // the newest one, until the receiver takes it

	told atomic.Pointer[[]chat.Member] // as the engine knows them
}

func newRosterKeeper() *rosterKeeper {
	k := &rosterKeeper{wanted: retry.NewSignal(), news: make(chan roster, 1)}
	k.told.Store(new([]chat.Member))
	return k
}

// keepRoster asks for the roster when it is wanted, and now and then, until ctx
// ends.
func (r *receiver) keepRoster(ctx context.Context) {
	pause, wait := newBackoff(), rosterEvery
	for r.roster.wanted.Wait(ctx, wait) == nil {
		list, err := r.fetchRoster(ctx)
		if err != nil {
			wait = pause.Next(asFault(err).after)
			continue
		}
		pause.Reset()
		wait = rosterEvery
		select {
		case <-r.roster.news: // an older one that nobody took
		default:
		}
		r.roster.news <- list
	}
}

// fetchRoster asks the server for the roster.
func (r *receiver) fetchRoster(ctx context.Context) (roster, error) {
	list := roster{asked: time.Now()}
	for page := 0; ; page++ {
		users, err := ask(ctx, "asking who is in the crew channel", func() ([]*model.User, *model.Response, error) {
			return r.api.GetUsersInChannel(ctx, r.crew.Id, page, pageSize, "")
		}, wholeUsers)
		if err != nil {
			return roster{}, err
		}
		list.crew = append(list.crew, users...)
		if len(users) < pageSize {
			break
		}
	}
	officers, err := r.findOfficers(ctx)
	if err != nil {
		return roster{}, err
	}
	list.add(slices.Concat(list.crew, officers))
	if err := r.addMissing(ctx, &list); err != nil {
		return roster{}, err
	}
	slices.SortFunc(list.all, func(a, b chat.Member) int { return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.ID, b.ID)) })
	return list, nil
}

// add adds those people among users who are not in the list yet.
func (l *roster) add(users []*model.User) {
	for _, u := range users {
		if !u.IsBot && !l.has(u.Id) {
			l.all = append(l.all, chat.Member{Person: core.Person{ID: u.Id, Name: u.Username}, Gone: u.DeleteAt != 0})
		}
	}
}

func (l *roster) has(id string) bool {
	return slices.ContainsFunc(l.all, func(m chat.Member) bool { return m.ID == id })
}

// addMissing looks for those who were in the roster before and are missing now.
// Somebody who slipped from one page to another, because others came or went
// between the two, is still in the channel. An account that was deactivated is
// told as such. Who has left is dropped. If that cannot be found out, they all
// stay as they were.
func (r *receiver) addMissing(ctx context.Context, list *roster) error {
	var ids []string
	missing := slices.DeleteFunc(slices.Clone(*r.roster.told.Load()), func(m chat.Member) bool { return list.has(m.ID) })
	for _, m := range missing {
		ids = append(ids, m.ID)
	}
	if len(ids) == 0 {
		return nil
	}
	users, inside, err := r.findMissing(ctx, ids)
	switch {
	case err != nil && ctx.Err() != nil:
		return err
	case err != nil:
		list.doubt = err
		list.all = append(list.all, missing...)
		return nil
	}
	for _, u := range users {
		if inside[u.Id] {
			list.crew = append(list.crew, u)
		}
		if inside[u.Id] || u.DeleteAt != 0 {
			list.add([]*model.User{u})
		}
	}
	return nil
}

// findMissing returns the accounts of people, and which are in the crew channel.
func (s *Server) findMissing(ctx context.Context, ids []string) ([]*model.User, map[string]bool, error) {
	const doing = "looking for people who are missing from the list"
	users, err := ask(ctx, doing, func() ([]*model.User, *model.Response, error) {
		return s.api.GetUsersByIds(ctx, ids)
	}, wholeUsers)
	if err != nil {
		return nil, nil, err
	}
	members, err := ask(ctx, doing, func() (model.ChannelMembers, *model.Response, error) {
		return s.api.GetChannelMembersByIds(ctx, s.crew.Id, ids)
	}, func(all model.ChannelMembers) bool { return all != nil })
	inside := make(map[string]bool)
	for _, m := range members {
		inside[m.UserId] = true
	}
	return users, inside, err
}

func wholeUsers(users []*model.User) bool {
	return users != nil && !slices.ContainsFunc(users, func(u *model.User) bool { return u == nil || u.Id == "" || u.Username == "" })
}

// findOfficers returns the accounts of the officers, who are configured by name
// or id.
func (s *Server) findOfficers(ctx context.Context) ([]*model.User, error) {
	var names, ids []string
	for _, officer := range s.officers {
		names = append(names, nameOf(officer))
		if model.IsValidId(officer) {
			ids = append(ids, officer)
		}
	}
	const doing = "looking for the officers"
	var all []*model.User
	if len(names) > 0 {
		users, err := ask(ctx, doing, func() ([]*model.User, *model.Response, error) {
			return s.api.GetUsersByUsernames(ctx, names)
		}, wholeUsers)
		if err != nil {
			return nil, err
		}
		all = users
	}
	if len(ids) > 0 {
		users, err := ask(ctx, doing, func() ([]*model.User, *model.Response, error) {
			return s.api.GetUsersByIds(ctx, ids)
		}, wholeUsers)
		if err != nil {
			return nil, err
		}
		all = append(all, users...)
	}
	return all, nil
}

// nameOf returns a user name as the server stores it.
func nameOf(typed string) string {
	return strings.ToLower(strings.TrimPrefix(strings.TrimSpace(typed), "@"))
}

// askPeople tells the engine who is who. If the server does not tell soon, the
// last roster counts on, and the keeper goes on asking.
func (r *receiver) askPeople(ctx context.Context) error {
	brief, cancel := context.WithTimeout(ctx, rosterWait)
	defer cancel()
	list, err := r.fetchRoster(brief)
	if err != nil {
		r.outages.Failed(thingPeople, "cannot read the list of members; using the last one", err)
		r.roster.wanted.Set()
		return ctx.Err()
	}
	return r.tellPeople(ctx, list, !r.up)
}

// tellPeople takes in a roster, and tells the engine if it is news, or if it
// must be told again.
func (r *receiver) tellPeople(ctx context.Context, list roster, again bool) error {
	r.outages.Over(thingPeople, "list of members read again")
	if list.asked.Before(r.listed.asked) {
		return nil
	}
	if list.doubt != nil {
		r.outages.Failed(thingMissing, "those missing from the list of people cannot be looked up; they stay in it", list.doubt)
	} else {
		r.outages.Over(thingMissing, "those missing from the list of people can be looked up again")
	}
	for _, u := range list.crew {
		r.people[u.Id] = person{
			Person: core.Person{ID: u.Id, Name: u.Username}, human: !u.IsBot, member: true, known: list.asked,
		}
	}
	again = again || !slices.Equal(list.all, r.listed.all)
	if !again {
		r.listed.asked = list.asked
		return nil
	}
	event := chat.Event{ID: "people " + model.NewId(), At: r.Now(), What: chat.People{All: slices.Clone(list.all)}}
	if err := r.deliver(ctx, event); err != nil {
		return err
	}
	r.listed = list
	r.roster.told.Store(&list.all)
	return nil
}

// onUser hears that an account was renamed, deactivated or changed otherwise.
func (r *receiver) onUser(_ context.Context, f frame) error {
	var data struct {
		User model.User `json:"user"`
	}
	if err := json.Unmarshal(f.Data, &data); err != nil {
		return fmt.Errorf("reading a %q event: %w", f.Event, err)
	}
	if p, ok := r.people[data.User.Id]; ok && data.User.Username != "" {
		p.Name = data.User.Username
		r.people[p.ID] = p
	}
	known := slices.ContainsFunc(r.listed.all, func(m chat.Member) bool { return m.ID == data.User.Id })
	if known || slices.ContainsFunc(r.officers, func(o string) bool { return nameOf(o) == data.User.Username }) {
		r.roster.wanted.Set()
	}
	return nil
}

// onCrew hears that the crew channel changed, or who is in it.
func (r *receiver) onCrew(_ context.Context, f frame) error {
	var data struct {
		ChannelID string `json:"channel_id"`
		UserID    string `json:"user_id"`
	}
	if err := json.Unmarshal(f.Data, &data); err != nil {
		return fmt.Errorf("reading a %q event: %w", f.Event, err)
	}
	if cmp.Or(f.Broadcast.ChannelID, data.ChannelID) != r.crew.Id {
		return nil
	}
	membership := f.Event == model.WebsocketEventUserAdded || f.Event == model.WebsocketEventUserRemoved
	if membership && cmp.Or(data.UserID, f.Broadcast.UserID) != r.me.ID {
		r.roster.wanted.Set()
		return nil
	}
	return errCrewChanged
}
