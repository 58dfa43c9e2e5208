"""Publisher of a service's jobs, events and print queue to an MQTT 5 broker (OASIS MQTT Version 5.0)."""
