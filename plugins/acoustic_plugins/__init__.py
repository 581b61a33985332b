"""The plugins that come with acoustic. Each module is one plugin and imports only `acoustic.api`."""
