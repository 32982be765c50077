package config

import "benchbell/core"

// methods returns all methods of a station.
func (c Config) AllMethods() []core.Method { return append(core.BuiltIn(), c.Methods...) }
