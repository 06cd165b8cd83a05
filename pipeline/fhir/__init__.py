"""The note as FHIR R4 resources: one file a kind of resource; `bundle` puts them together, `rules` checks them."""
