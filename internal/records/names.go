package records

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"finishbench/internal/part"
)

// The chain cannot forget, so that what people are called must not be in it: where
// an inspection, a withdrawal or an overruling names someone, the records hold
// "person:" and the id of a [Person], and readers put the name back. Records of
// earlier versions hold the names themselves.
const aliasPrefix = "person:"

// aliasOf is what stands for a name: of the person who is called just so, else of a
// new one. "" stands for itself.
func (t *tx) aliasOf(ctx context.Context, name string) (string, error) {
	if name == "" {
		return "", nil
	}
	var id string
	err := t.row(ctx, "SELECT id FROM people WHERE badge = ? AND initials = '' OR initials = ? AND badge = '' ORDER BY id LIMIT 1", name,
		name).Scan(&id)
	switch {
	case err == nil:
		return aliasPrefix + id, nil
	case !errors.Is(err, sql.ErrNoRows):
		return "", fmt.Errorf("records: look for the person %s: %w", name, err)
	}
	raw := make([]byte, 8)
	rand.Read(raw) // never fails
	id = hex.EncodeToString(raw)
	if err := t.insert(ctx, "people", "id, initials, badge", [][]any{{id, "", name}}); err != nil {
		return "", err
	}
	return aliasPrefix + id, nil
}

// withAliases is an inspection to be written, its operator's name replaced.
func (t *tx) withAliases(ctx context.Context, e *entry) (*entry, error) {
	alias, err := t.aliasOf(ctx, e.what.Operator)
	if err != nil {
		return nil, err
	}
	out := *e
	out.Operator, out.what.Operator = alias, alias
	return &out, nil
}

// putNames puts the names back. Who was erased keeps the alias, so that their
// inspections can still be told from those of others.
func (t *tx) putNames(ctx context.Context, _ string, _ []any, by map[int64]*part.Inspection) error {
	var names map[string]string
	put := func(field *string) error {
		if !strings.HasPrefix(*field, aliasPrefix) {
			return nil
		}
		if names == nil {
			var err error
			if names, err = t.names(ctx); err != nil {
				return err
			}
		}
		if name := names[*field]; name != "" {
			*field = name
		}
		return nil
	}
	for _, in := range by {
		fields := []*string{&in.Operator}
		if in.Withdrawn != nil {
			fields = append(fields, &in.Withdrawn.By)
		}
		if in.Overruled != nil {
			fields = append(fields, &in.Overruled.By)
		}
		for _, f := range fields {
			if err := put(f); err != nil {
				return err
			}
		}
	}
	return nil
}

// names are the people's names by their aliases; those erased are not in it.
func (t *tx) names(ctx context.Context) (map[string]string, error) {
	all := map[string]string{}
	err := t.scanAll(ctx, "SELECT id, initials, badge FROM people WHERE badge IS NOT NULL", nil, func(rows *sql.Rows) error {
		var id, initials, badge string
		err := rows.Scan(&id, &initials, &badge)
		if badge == "" {
			badge = initials
		}
		all[aliasPrefix+id] = badge
		return err
	})
	return all, err
}

// operatorIs chooses the inspections of an operator by name.
const operatorIs = "(operator = ? OR operator IN (SELECT '" + aliasPrefix +
	"' || id FROM people WHERE badge = ? OR initials = ? AND badge = ''))"

// EraseName erases every person who is called so, by badge or initials, and says
// how many there were. Backups made before still have the name. Erasing does not
// reach records of earlier versions, which hold the names themselves: their number
// is returned as kept.
func (s *Store) EraseName(ctx context.Context, name string) (people, kept int, err error) {
	if name == "" {
		return 0, 0, fmt.Errorf("records: erase a name: %w: it is empty", ErrInvalid)
	}
	err = s.write(ctx, func(t *tx) error {
		if err := t.row(ctx, "SELECT count(*) FROM people WHERE badge = ? OR initials = ?", name, name).Scan(&people); err != nil {
			return fmt.Errorf("records: erase a name: %w", err)
		}
		if err := t.row(ctx, "SELECT count(*) FROM inspections WHERE operator = ?", name).Scan(&kept); err != nil {
			return fmt.Errorf("records: erase a name: %w", err)
		}
		if people == 0 {
			return nil
		}
		return t.exec(ctx, "UPDATE people SET initials = NULL, badge = NULL WHERE badge = ? OR initials = ?", name, name)
	})
	return people, kept, err
}
