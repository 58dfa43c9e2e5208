"""The database: connections, tables, migrations and its clock."""
