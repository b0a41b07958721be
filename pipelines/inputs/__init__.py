"""What people bring: the site file, layers, quantities, tables and catalogues."""
