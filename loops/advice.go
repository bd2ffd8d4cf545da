package loops

// describe fills in what a technician reads.
func describe(f *Finding, m *memory) { f.Summary = Catalogue[f.ID].Title }
