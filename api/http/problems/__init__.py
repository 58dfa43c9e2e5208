"""Problem documents (RFC 9457) and the errors behind them."""
