package migrations

import (
	"errors"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// denied is the SQLSTATE of a missing privilege.
const denied = "42501"

func TestRights(t *testing.T) {
	url, prefix := migrated(t)
	logins := map[string]*pgx.Conn{}
	for _, role := range []string{"service", "lims", "qa", "classifier"} {
		logins[role] = login(t, url, prefix, role)
	}
	all := []string{"service", "lims", "qa", "classifier"}
	readers := all[1:]
	for name, c := range map[string]struct {
		roles []string
		sql   string
	}{
		"change a ledger entry":         {all, "update ledger.entry set reason = 'x'"},
		"delete a ledger entry":         {all, "delete from ledger.entry"},
		"truncate the ledger":           {all, "truncate ledger.entry cascade"},
		"write a ledger entry directly": {all, "insert into ledger.entry select * from ledger.entry"},
		"write an event directly":       {all, "insert into ledger.event values (1, 1, 'released', 'x', 1, null, '')"},
		"change an event":               {all, "update ledger.event set reason = 'x'"},
		"delete an event":               {all, "delete from ledger.event"},
		"move the head":                 {all, "update ledger.head set seq = 0"},
		"lock the head for good":        {all, "select * from ledger.head for update"},
		"delete the head":               {all, "delete from ledger.head"},
		"append, as a reader":           {readers, "select ledger.append('a', 'k', '', '', sha256(''), '[]')"},
		"read the ledger, as a reader":  {[]string{"lims", "classifier"}, "select * from ledger.entry"},

		"delete an arrival":               {all, "delete from core.arrival"},
		"delete a result":                 {all, "delete from core.result_revision"},
		"delete a document":               {all, "delete from core.document"},
		"delete a member":                 {all, "delete from core.member"},
		"truncate evidence":               {all, "truncate core.acquisition_revision cascade"},
		"change an object":                {all, "update core.object set size = 1"},
		"change an acquisition revision":  {all, "update core.acquisition_revision set digest = sha256('')"},
		"change a document's body":        {all, "update core.document set body = '{}'"},
		"change a result's value":         {all, "update core.result_revision set value = 1"},
		"change a verdict":                {all, "update core.verdict set verdict = 'pass'"},
		"change an evaluation":            {all, "update core.evaluation set output = sha256('')"},
		"change publication history":      {all, "update core.publication set reason = 'x'"},
		"change what was used":            {all, "update core.result_use set used = revision"},
		"change where an arrival is from": {all, "update core.arrival set path = ''"},
		"change a calibration's content":  {all, "update core.calibration set accepted = true"},
		"allow another transition":        {all, "insert into core.publication_step values ('withdrawn', 'released')"},
		"read tables, as a reader":        {readers, "select * from core.result_revision"},
		"read claims, as the LIMS":        {[]string{"lims"}, "select * from core.sample"},
		"read features, as the LIMS":      {[]string{"lims"}, "select * from classifier.feature"},
		"read the failure log, as others": {[]string{"lims", "classifier"}, "select * from qa.failure"},
		"read the feed, as a classifier":  {[]string{"classifier"}, "select * from lims.feed"},

		"become the owner":     {all, `set role "` + prefix + `_owner"`},
		"make a table":         {all, "create table core.mine (x int)"},
		"make a public table":  {all, "create table public.mine (x int)"},
		"drop a table":         {all, "drop table core.result"},
		"switch off a trigger": {all, "alter table ledger.entry disable trigger all"},
		"replace the function": {all, "alter function ledger.append owner to current_user"},
		"switch off all rules": {all, "set session_replication_role = replica"},
	} {
		t.Run(name, func(t *testing.T) {
			for _, role := range c.roles {
				_, err := logins[role].Exec(t.Context(), c.sql)
				var pgErr *pgconn.PgError
				if !errors.As(err, &pgErr) || pgErr.Code != denied {
					t.Errorf("%s: %v, want SQLSTATE %s", role, err, denied)
				}
			}
		})
	}
	for name, c := range map[string]struct {
		roles []string
		sql   string
	}{
		"released results":    {[]string{"service", "lims", "qa"}, "select * from lims.released_result"},
		"feed":                {[]string{"service", "lims", "qa"}, "select * from lims.feed"},
		"failure log":         {[]string{"service", "qa"}, "select * from qa.failure"},
		"held results":        {[]string{"service", "qa"}, "select * from qa.held_result"},
		"waiting files":       {[]string{"service", "qa"}, "select * from qa.waiting_file"},
		"features":            {[]string{"service", "qa", "classifier"}, "select * from classifier.feature"},
		"ledger":              {[]string{"service", "qa"}, "select * from ledger.entry, ledger.event, ledger.head"},
		"proof of the ledger": {[]string{"service", "qa"}, "select ledger.first_broken()"},
		"evidence":            {[]string{"service"}, "select * from core.result_revision"},
		"append":              {[]string{"service"}, "select ledger.append('a', 'k', '', '', sha256(''), '[]')"},
	} {
		t.Run("allowed: "+name, func(t *testing.T) {
			for _, role := range c.roles {
				if _, err := logins[role].Exec(t.Context(), c.sql); err != nil {
					t.Errorf("%s: %v", role, err)
				}
			}
		})
	}
}
