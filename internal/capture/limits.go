package capture

import "finishbench/internal/part"

// FitLimits says when a picture is fit to measure.
type FitLimits = part.FitLimits
