package store_test

import (
	"path/filepath"
	"testing"

	"benchbell/store"
	"benchbell/store/storetest"
)

func TestEngines(t *testing.T) {
	t.Run("bolt", func(t *testing.T) {
		storetest.Contract(t, func(t *testing.T) store.Engine {
			return must(store.OpenBolt(filepath.Join(t.TempDir(), "benchbell.db")))(t)
		})
	})
	t.Run("memory", func(t *testing.T) {
		storetest.Contract(t, func(*testing.T) store.Engine { return storetest.Memory() })
	})
}
