"""The OpenAPI document, and the published contract written from it."""
