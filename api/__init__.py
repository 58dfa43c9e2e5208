"""The service's thin face: routes, problems, the contract, the command line."""
