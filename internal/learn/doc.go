// Package learn fits the calling of kinds to what people say that findings are.
//
// The model is multinomial logistic regression on the features that a finding
// has in result.json, with the rules' own call as its prior: an offset in favour
// of the kind that the rules call, and weights drawn towards 0 (ridge). With few
// labels it says what the rules say; each weight can be read.
//
//	example.go   a labelled finding; tables of them
//	features.go  which numbers are weighed, and how
//	model.go     the model, its file, its call and what speaks for it
//	fit.go       finding the weights
//	check.go     too few labels, labels that contradict each other
//	trial.go     old against new on units left out, whole units at a time
//	learn.go     all of it, and whether there is something to accept
//
// It changes nothing by itself: whoever uses a model says so.
//
// # Features and tables
//
// A new feature is a line of featureTable in defects/finding.go and a row in features.go; older
// models are then refused and must be fitted anew. The tables to learn from are remade in minutes,
// then their README:
//
//	go test ./internal/defects -run LabelTables -labels internal/learn/testdata
//
// Where a model is in force, defects.Find asks Params.Call (internal/inspection/kindmodel.go).
package learn
