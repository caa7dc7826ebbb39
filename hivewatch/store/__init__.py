"""The store: tables, migrations, readings and records."""
