package mattermost

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/mattermost/mattermost/server/public/model"
)

// A Finding is one thing that Check looked at. Good is false if somebody should
// see to it.
type Finding struct {
	Good bool
	Text string
}

func (f Finding) String() string {
	if f.Good {
		return "ok: " + f.Text
	}
	return "NOT RIGHT: " + f.Text
}

// fair is how far the bot's own clock may be off before its keeper is told. It
// is set right by the server's in any case.
const fair = 5 * time.Second

// Check looks at all that must be right for the bot to work, and says what it
// found. It leaves no trace on the server.
func (s *Server) Check(ctx context.Context) []Finding {
	channel := s.checkChannel(ctx)
	found := []Finding{
		s.checkServer(ctx),
		s.checkAccount(),
		{true, fmt.Sprintf("team %q (%s)", s.team.Name, s.team.DisplayName)},
		channel,
	}
	if channel.Good { // if not, the rights in it mean nothing
		found = append(append(found, s.checkPosting(ctx)), s.checkRights(ctx)...)
	}
	found = append(found, s.checkLink(ctx), s.checkClock(), s.checkLimiter(ctx))
	return append(found, s.checkOfficers(ctx)...)
}

func (s *Server) checkServer(ctx context.Context) Finding {
	config, resp, err := s.api.GetOldClientConfig(ctx, "")
	if err != nil {
		return Finding{false, faultOf("asking for the server's version", resp, err).Error()}
	}
	return Finding{true, fmt.Sprintf("chat server at %s: Mattermost %s", s.api.URL, config["Version"])}
}

func (s *Server) checkAccount() Finding {
	if s.robot {
		return Finding{true, fmt.Sprintf("account @%s is a bot account", s.me.Name)}
	}
	return Finding{false, fmt.Sprintf("account @%s is a person's: make a bot account and use its token, "+
		"so that the bot's posts are marked as such and its token does not lapse with a person's password", s.me.Name)}
}

func (s *Server) checkChannel(ctx context.Context) Finding {
	channel, err := s.crewOpen(ctx)
	if err != nil {
		return Finding{false, err.Error()}
	}
	return Finding{true, fmt.Sprintf("crew channel %q (%s), the bot is in it", channel.Name, channel.DisplayName)}
}

// checkPosting tries to answer to a post that does not exist. The server looks
// first whether the bot may post, then for that post: nothing is ever posted.
func (s *Server) checkPosting(ctx context.Context) Finding {
	_, resp, err := s.api.CreatePost(ctx, &model.Post{
		ChannelId: s.crew.Id, RootId: model.NewId(), Message: "may the bot post here?",
	})
	f := asFault(faultOf("trying to post", resp, err))
	switch {
	case f.id == "api.post.create_post.root_id.app_error":
		return Finding{true, "the bot may post in the crew channel"}
	case f.status == http.StatusForbidden:
		return Finding{false, "the bot may not post in the crew channel: allow members to create posts there"}
	default:
		return Finding{false, "whether the bot may post in the crew channel could not be seen: " + f.Error()}
	}
}

// checkRights looks at what the bot's roles allow besides posting: to try it out
// would leave a trace.
func (s *Server) checkRights(ctx context.Context) []Finding {
	granted, err := s.rights(ctx)
	if err != nil {
		return []Finding{{false, "what else the bot may do in the crew channel could not be seen: " + err.Error()}}
	}
	react := Finding{true, "the bot may put numbers to tap under its posts"}
	if !granted[model.PermissionAddReaction.Id] {
		react = Finding{false, "the bot may not put numbers to tap under its posts: allow members to add reactions"}
	}
	upload := Finding{true, "the bot may attach files to its posts"}
	config, resp, err := s.api.GetOldClientConfig(ctx, "")
	switch {
	case err != nil:
		upload = Finding{false, faultOf("asking whether the server takes files", resp, err).Error()}
	case config["EnableFileAttachments"] == "false":
		upload = Finding{false, "the server takes no files, so verdicts come without pictures: allow file sharing"}
	case !granted[model.PermissionUploadFile.Id]:
		upload = Finding{false, "the bot may not attach files to its posts: allow members to upload files"}
	}
	return []Finding{react, upload}
}

// rights returns what the bot may do in the crew channel by its roles there, in
// the team and on the server.
func (s *Server) rights(ctx context.Context) (map[string]bool, error) {
	me, _, _, err := s.getMe(ctx)
	if err != nil {
		return nil, err
	}
	inTeam, err := s.teamMember(ctx, s.me.ID)
	if err != nil {
		return nil, err
	}
	inChannel, err := s.membership(ctx, s.crew.Id)
	if err != nil {
		return nil, err
	}
	roles, err := ask(ctx, "asking what the bot's roles allow", func() ([]*model.Role, *model.Response, error) {
		return s.api.GetRolesByNames(ctx, strings.Fields(me.Roles+" "+inTeam.Roles+" "+inChannel.Roles))
	}, func(roles []*model.Role) bool { return len(roles) > 0 })
	if err != nil {
		return nil, err
	}
	granted := make(map[string]bool)
	for _, role := range roles {
		for _, permission := range role.Permissions {
			granted[permission] = true
		}
	}
	return granted, nil
}

// checkOfficers looks for the officers of the configuration.
func (s *Server) checkOfficers(ctx context.Context) []Finding {
	if len(s.officers) == 0 {
		return nil
	}
	users, err := s.findOfficers(ctx)
	if err != nil {
		return []Finding{{false, "the officers could not be looked for: " + err.Error()}}
	}
	var names []string
	var wrong []Finding
	for _, officer := range s.officers {
		i := slices.IndexFunc(users, func(u *model.User) bool { return u.Id == officer || u.Username == nameOf(officer) })
		if i < 0 {
			wrong = append(wrong, Finding{false, fmt.Sprintf("officer %q: nobody on the chat server has that name", officer)})
			continue
		}
		names = append(names, "@"+users[i].Username)
		if trouble := s.officerTrouble(ctx, users[i]); trouble != "" {
			wrong = append(wrong, Finding{false, fmt.Sprintf("officer %q: %s", officer, trouble)})
		}
	}
	if len(wrong) > 0 {
		return wrong
	}
	return []Finding{{true, "officers: " + strings.Join(names, ", ")}}
}

// officerTrouble says why an account is no use as an officer's.
func (s *Server) officerTrouble(ctx context.Context, u *model.User) string {
	if u.IsBot {
		return "this is a bot account"
	}
	if u.DeleteAt != 0 {
		return "this account is deactivated"
	}
	member, err := s.isMember(ctx, u.Id)
	switch {
	case err != nil:
		return err.Error()
	case !member:
		return fmt.Sprintf("not in the team %q, so the bot does not answer there", s.team.Name)
	}
	return ""
}

func (s *Server) checkLink(ctx context.Context) Finding {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	began := time.Now()
	if _, err := s.dial(ctx); err != nil {
		return Finding{false, fmt.Sprintf("events do not come through: %v: "+
			"if there is a proxy before the server, let it pass websockets", err)}
	}
	return Finding{true, fmt.Sprintf("events come through (websocket open after %v)", time.Since(began).Round(time.Millisecond))}
}

func (s *Server) checkClock() Finding {
	off := time.Until(s.Now()).Round(10 * time.Millisecond)
	text := fmt.Sprintf("this machine's clock and the server's agree to %v", off.Abs())
	switch {
	case off > fair:
		text = fmt.Sprintf("this machine's clock is %v behind the server's", off)
	case off < -fair:
		text = fmt.Sprintf("this machine's clock is %v ahead of the server's", -off)
	}
	if off.Abs() > fair {
		text += ": the bot goes by the server's; see which of the two is wrong"
	}
	return Finding{off.Abs() <= fair, text}
}

func (s *Server) checkLimiter(ctx context.Context) Finding {
	_, resp, _, err := s.getMe(ctx)
	if err != nil {
		return Finding{false, err.Error()}
	}
	if limit := resp.Header.Get("X-Ratelimit-Limit"); limit != "" {
		return Finding{true, fmt.Sprintf("the server's rate limiter is on (%s requests at once): "+
			"behind a proxy, have it count each client by itself", limit)}
	}
	return Finding{true, "the server's rate limiter is off"}
}
