package inspection

import (
	"encoding/json"

	"finishbench/internal/cli"
	"finishbench/internal/files"
	"finishbench/internal/part"
)

// schema is the number of result.json's layout.
const schema = 1

func whyUnfit(r part.PictureReport) part.Phrase {
	for _, p := range r.Problems {
		if !p.Warn {
			return part.Say("seam.why.unfit_do").With("remedy", p.Phrase())
		}
	}
	return part.Say("seam.why.unfit")
}

// normalise makes empty lists of absent ones, so that result.json always has
// them.
func normalise(r *part.Result) {
	cli.NotNil(&r.Reasons)
	cli.NotNil(&r.Warnings)
	cli.NotNil(&r.Findings)
	cli.NotNil(&r.Pictures)
	cli.NotNil(&r.Seam.Stations)
	for i := range r.Pictures {
		cli.NotNil(&r.Pictures[i].Problems)
	}
}

// ReadResult reads a result.json. What is wrong with it is wrong usage.
func ReadResult(path string) (*part.Result, error) {
	data, err := files.Read(path, files.MostText)
	if err != nil {
		return nil, cli.Usagef("no result to read: %w", err)
	}
	var r part.Result
	if err := json.Unmarshal(data, &r); err != nil {
		return nil, cli.Usagef("%s is no result of 'inspect unit': %w", path, err)
	}
	if r.Schema != schema {
		return nil, cli.Usagef("%s has layout %d, this program reads %d: inspect the unit again", path, r.Schema, schema)
	}
	return &r, nil
}
