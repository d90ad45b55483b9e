package plan

import "context"

// LookAtTerrain opens the rasters of a site and says what they are, whatever
// else the site lacks.
func LookAtTerrain(ctx context.Context, site *Site) *Inspection {
	j := newJob(ctx, site, nil)
	defer j.close()
	if err := j.openTerrain(); err != nil {
		j.plan.Messages = append(j.plan.Messages, problems(err)...)
	}
	if j.source != nil {
		j.tell(j.source.Findings()...)
		j.describeTerrain()
	}
	return &Inspection{Site: site.Name, Inputs: j.plan.Inputs, Extents: j.extents(), TrackM: Unknown, Messages: j.plan.Messages}
}

// LookAtCreek reads the creek of a site and holds it against its terrain,
// where it names one. It also gives the names of the waypoints in the file, in
// the order of the alphabet.
func LookAtCreek(ctx context.Context, site *Site) (found *Inspection, waypoints []string) {
	j := newJob(ctx, site, nil)
	defer j.close()
	err := j.readCreek()
	if err == nil && len(site.Terrain) > 0 {
		err = j.openTerrain()
	}
	found = &Inspection{Site: site.Name, TrackM: Unknown}
	if err != nil {
		j.plan.Messages = append(j.plan.Messages, problems(err)...)
	} else {
		length := 0.0
		for _, leg := range j.walked.legs {
			length += lengthOf(leg)
		}
		found.TrackM, found.Gaps = Number(length), max(0, len(j.walked.legs)-1)
	}
	for name := range j.walked.waypoints {
		waypoints = append(waypoints, name)
	}
	found.Inputs, found.Messages = j.plan.Inputs, j.plan.Messages
	return found, sorted(waypoints)
}
