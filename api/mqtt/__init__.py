"""What a service is at, told to an MQTT 5 broker (OASIS MQTT Version 5.0). It asks the service as any caller does."""
