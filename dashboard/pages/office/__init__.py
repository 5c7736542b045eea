"""The pages of the office: the people, the plan, and the plain forms behind them."""
